//! What a plan promises, on whole layouts and for counts at random.

use std::sync::{Arc, LazyLock};

use base::Task;
use proptest::prelude::*;

use super::*;
use crate::symmetry::fixtures::tube;
use crate::testing::{Case, Laid, Made, all_made, cases, made, three_rings};

/// What plans of a case are searched on, and the counts that they keep.
pub(super) fn ground_of<'a>(
    made: &'a Made,
    options: &'a QuantiseOptions,
    task: &'a Task,
) -> (Ground<'a>, Vec<model::Promise>) {
    let (surface, layout) = (&made.laid.surface, &made.laid.layout);
    let (curves, guides) = (&made.laid.curves, &made.case.guides);
    let counts = promised(surface, layout, curves, guides, made.case.edge);
    let ground = Ground {
        surface,
        layout,
        options,
        task,
    };
    (ground, counts)
}

/// Every arc has a quad, opposite sides agree up to the surplus, sides around a pole are the sums
/// of the spokes beside their own.
pub(super) fn assert_sound(layout: &Layout, plan: &Plan) {
    assert_eq!(plan.arcs.len(), layout.arcs.len());
    assert!(plan.arcs.iter().all(|&n| n >= 1));
    for (p, patch) in layout.patches.iter().enumerate() {
        let n = patch.sides.len();
        let side = |i: usize| i64::from(plan.side(layout, p, i));
        if n == 4 {
            assert!(plan.spokes[p].is_empty());
            for axis in 0..2 {
                assert_eq!(
                    side(axis) - side(axis + 2),
                    2 * i64::from(plan.surplus[p][axis]),
                    "patch {p}"
                );
            }
            continue;
        }
        let y = &plan.spokes[p];
        assert_eq!((y.len(), plan.surplus[p]), (n, [0, 0]));
        for i in 0..n {
            assert_eq!(
                side(i),
                i64::from(y[(i + n - 1) % n] + y[(i + 1) % n]),
                "patch {p} side {i}"
            );
        }
        // A pole may lie on one side, never on a corner.
        assert!(y.iter().filter(|&&y| y == 0).count() <= 1);
    }
}

/// Quads along a curve.
fn along(laid: &Laid, plan: &Plan, curve: usize) -> u32 {
    let on_curve = |a: &crate::layout::Arc| match a.source {
        ArcSource::Chain(c) => laid.surface.chains[c].source == ChainSource::Curve(curve),
        ArcSource::Laid(_) => false,
    };
    laid.layout
        .arcs
        .iter()
        .zip(&plan.arcs)
        .filter(|(a, _)| on_curve(a))
        .map(|(_, &n)| n)
        .sum()
}

fn tube_with(low: u32, high: u32) -> Case {
    let case = cases().into_iter().next().unwrap();
    Case {
        guides: three_rings(Some(low), None, Some(high)),
        sculpt: tube(120, 80),
        faces: None,
        ..case
    }
}

/// The tube's layout, which doesn't depend on counts.
fn tube_laid() -> &'static Laid {
    static LAID: LazyLock<Laid> = LazyLock::new(|| tube_with(12, 12).laid().unwrap());
    &LAID
}

fn plan_of(low: u32, high: u32) -> Result<(Plan, Findings), QuantiseError> {
    let case = tube_with(low, high);
    let laid = tube_laid();
    let mut curves = laid.curves.clone();
    for curve in &mut curves {
        curve.count = case.guides[curve.guides[0]].count;
    }
    let options = QuantiseOptions::new(case.edge, None);
    run(
        &laid.surface,
        &laid.layout,
        &curves,
        &case.guides,
        &options,
        &Task::default(),
    )
}

#[test]
fn plans_keep_their_rows() {
    for made in all_made() {
        assert_sound(&made.laid.layout, &made.plan);
    }
}

#[test]
fn counts_are_kept() {
    let mut kept = 0;
    for made in all_made() {
        for (c, curve) in made.laid.curves.iter().enumerate() {
            if let Some(count) = curve.count {
                assert_eq!(
                    along(&made.laid, &made.plan, c),
                    count,
                    "{}",
                    made.case.name
                );
                kept += 1;
            }
        }
    }
    assert_eq!(kept, 6, "three rings, two rings, and half a ring");
}

#[test]
fn faces_are_counted_as_they_are_filled() {
    for made in all_made() {
        assert_eq!(
            made.plan.faces,
            made.filled.mesh.quads.len(),
            "{}",
            made.case.name
        );
    }
}

#[test]
fn budgets_are_met_as_near_as_whole_strips_allow() {
    for made in all_made() {
        let wanted = made.case.faces.unwrap() as f64;
        let off = (made.plan.faces as f64 - wanted).abs();
        // A strip is there or it isn't: on surfaces this small the shortest one is more than 3 %.
        let strips = made.filled.mesh.topology().strips();
        let shortest = strips.iter().map(|s| s.quads.len()).min().unwrap() as f64;
        assert!(
            off <= (0.03 * wanted).max(shortest / 2.0),
            "{}: {} of {wanted}",
            made.case.name,
            made.plan.faces
        );
    }
}

#[test]
fn counts_that_differ_by_an_even_number_are_named() {
    let made = made("counts differ");
    let forced: i32 = made.plan.surplus.iter().flatten().map(|s| s.abs()).sum();
    // 12 quads become 16: two pairs of three- and five-poles, no more.
    assert_eq!(forced, 2);
    let found: Vec<&Finding> = made
        .plan_findings
        .iter()
        .filter(|f| f.code == "counts-force-poles")
        .collect();
    assert!(!found.is_empty());
    let named: std::collections::BTreeSet<&str> = found
        .iter()
        .flat_map(|f| &f.places)
        .filter_map(|p| match p {
            Place::Guide { name } => Some(name.as_str()),
            _ => None,
        })
        .collect();
    assert!(!named.is_empty());
    assert!(
        named.iter().all(|n| ["low", "middle", "high"].contains(n)),
        "{named:?}"
    );
}

#[test]
fn counts_of_odd_difference_are_refused_by_name() {
    let error = plan_of(12, 13).unwrap_err();
    let QuantiseError::Clash { guides, advice } = &error else {
        panic!("{error}")
    };
    assert_eq!(guides, &["low", "high"]);
    // The proposal itself must have a plan.
    assert_eq!(advice, "make 'high' 12 instead of 13");
    assert!(plan_of(12, 12).is_ok());
    let text = error.to_string();
    assert!(
        text.contains("'low', 'high'") && text.contains("can't all be kept"),
        "{text}"
    );
}

/// Refusals that nobody reads cost as many programs as those that are told: seconds each, for every
/// variant of a field, until advice was asked for by itself.
#[test]
fn unadvised_refusals_search_nothing() {
    use std::sync::atomic::{AtomicUsize, Ordering};
    let searched = |low: u32, high: u32, advise: bool| {
        let reports = Arc::new(AtomicUsize::new(0));
        let counted = Arc::clone(&reports);
        let task = Task::with_progress(move |_, _| {
            counted.fetch_add(1, Ordering::Relaxed);
        });
        let (case, laid) = (tube_with(low, high), tube_laid());
        let mut curves = laid.curves.clone();
        for curve in &mut curves {
            curve.count = case.guides[curve.guides[0]].count;
        }
        let mut options = QuantiseOptions::new(case.edge, None);
        options.advise = advise;
        let (surface, layout) = (&laid.surface, &laid.layout);
        let found = run(surface, layout, &curves, &case.guides, &options, &task);
        (found.unwrap_err(), reports.load(Ordering::Relaxed))
    };
    // An odd difference, and too few quads to follow a ring.
    for (low, high) in [(12, 13), (3, 12)] {
        let (told, with) = searched(low, high, true);
        let (untold, without) = searched(low, high, false);
        assert_eq!(
            std::mem::discriminant(&told),
            std::mem::discriminant(&untold)
        );
        assert!(told.takes_advice());
        // Each search for the budget reports; the first report is that of the stage.
        assert!(with > 1 && without == 1, "{with}, {without}: {told}");
        assert!(untold.to_string().contains("or leave them out"), "{untold}");
    }
}

#[test]
fn a_clash_names_no_guide_that_has_no_part_in_it() {
    let case = Case {
        guides: three_rings(Some(12), Some(12), Some(13)),
        ..tube_with(12, 13)
    };
    let laid = case.laid().unwrap();
    let Err(QuantiseError::Clash { guides, .. }) = case.planned(&laid) else {
        panic!("no clash")
    };
    assert_eq!(guides.len(), 2);
    assert!(guides.contains(&"high".to_owned()));
}

#[test]
fn a_search_without_nodes_is_refused() {
    let case = tube_with(12, 16);
    let mut options = QuantiseOptions::new(case.edge, None);
    options.search_nodes = 0;
    options.nodes = 0;
    let laid = tube_laid();
    let found = run(
        &laid.surface,
        &laid.layout,
        &laid.curves,
        &case.guides,
        &options,
        &Task::default(),
    );
    assert!(
        matches!(
            found,
            Err(QuantiseError::Program(ProgramError::Exhausted { nodes: 0 }))
        ),
        "{found:?}"
    );
}

#[test]
fn cancelling_stops_the_plan() {
    let task = Task::default();
    task.cancel();
    let (case, laid) = (tube_with(12, 12), tube_laid());
    let options = QuantiseOptions::new(case.edge, None);
    let error = run(
        &laid.surface,
        &laid.layout,
        &laid.curves,
        &case.guides,
        &options,
        &task,
    )
    .unwrap_err();
    assert_eq!(error, QuantiseError::Cancelled(base::Cancelled));
}

/// Strips told from the plan are those of the mesh that is filled by it: as many, and as many that cross
/// themselves, each over as many edges.
#[test]
fn strands_are_the_strips_of_the_mesh() {
    let mut crossing = 0;
    for made in all_made() {
        let Laid {
            surface,
            layout,
            curves,
            plane,
            ..
        } = &made.laid;
        let surplus = made.plan.surplus.iter().any(|s| *s != [0, 0]);
        if plane.is_some() || surplus {
            continue;
        }
        let rings = strands::Rings::new(surface, layout, curves);
        let told = strands::strands(layout, &made.plan, &rings);
        assert!(told.iter().all(|s| !s.is_lost), "{}", made.case.name);
        let strips = made.filled.mesh.topology().strips();
        assert_eq!(told.len(), strips.len(), "{}", made.case.name);
        let crossings = strips.iter().filter(|s| s.crosses_itself()).count();
        // What passes a ring more than twice is a spiral, too.
        assert!(told.iter().filter(|s| s.spirals).count() >= crossings);
        crossing += crossings;
    }
    assert_eq!(
        crossing, 0,
        "no case is left with a strip that crosses itself"
    );
}

/// Arcs of a tube's three rings are passed by strips along it, and twice by none.
#[test]
fn strips_along_a_tube_pass_each_ring_once() {
    let laid = tube_laid();
    let (plan, _) = plan_of(12, 12).unwrap();
    let rings = strands::Rings::new(&laid.surface, &laid.layout, &laid.curves);
    let told = strands::strands(&laid.layout, &plan, &rings);
    assert!(told.iter().all(|s| !s.spirals && !s.is_lost));
    let on_rings = |s: &&strands::Strand| {
        s.arcs
            .iter()
            .any(|a| matches!(laid.layout.arcs[a.0].source, ArcSource::Chain(_)))
    };
    // Twelve along the tube, from end to end; those around it pass no ring.
    assert_eq!(told.iter().filter(on_rings).count(), 12);
}

/// What the test below drew once: the advice changes both.
#[test]
fn two_counts_too_small_are_both_made_larger() {
    let refused = plan_of(4, 4).unwrap_err();
    let QuantiseError::TooFew { advice, .. } = refused else {
        panic!("{refused}");
    };
    assert!(
        advice.contains("'low'") && advice.contains("'high'"),
        "{advice}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]
    #[test]
    fn any_two_counts_are_kept_or_refused_by_name(low in 4u32..24, high in 4u32..24) {
        match plan_of(low, high) {
            Ok((plan, _)) => {
                let laid = tube_laid();
                assert_sound(&laid.layout, &plan);
                prop_assert_eq!((along(laid, &plan, 0), along(laid, &plan, 2)), (low, high));
                prop_assert_eq!(low % 2, high % 2, "a tube of quads takes up even differences only");
                let forced: i32 = plan.surplus.iter().flatten().sum();
                prop_assert_eq!(2 * forced.unsigned_abs(), low.abs_diff(high));
            }
            Err(QuantiseError::Clash { guides, .. }) => {
                prop_assert_eq!(guides, ["low", "high"]);
                // Even differences are taken up, however large: a patch can make three of one.
                prop_assert!(low % 2 != high % 2);
            }
            Err(QuantiseError::TooFew { guides, advice, .. }) => {
                // Handbook mensuration: n chords stray by the sagitta r (1 − cos(π / n)), r 1 here, of which
                // edges that straddle the circle keep half.
                let few = if guides == ["low"] { low } else { high };
                let sagitta = 1.0 - (std::f64::consts::PI / f64::from(few)).cos();
                prop_assert!(sagitta / 2.0 > 0.29 * tube_with(12, 12).edge, "{few}");
                // One guide's count is changed, or both are where both are too small.
                let words: Vec<&str> = advice.split(' ').collect();
                let made = |name: &str, count: u32| {
                    let at = words.iter().position(|w| w.trim_matches('\'') == name);
                    at.and_then(|i| words.get(i + 1)?.parse().ok()).unwrap_or(count)
                };
                let with = (made("low", low), made("high", high));
                prop_assert!(with != (low, high), "{advice}");
                prop_assert!(plan_of(with.0, with.1).is_ok(), "{advice}");
            }
            Err(other) => prop_assert!(false, "{other}"),
        }
    }
}
