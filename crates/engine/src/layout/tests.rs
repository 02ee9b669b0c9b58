//! What a layout promises, on whole surfaces and on surfaces cut at random.

use std::collections::BTreeMap;

use base::Task;
use proptest::prelude::*;

use super::marks::Marks;
use super::regions::{Region, RegionScale, Scratch, all_regions, region_of};
use super::slots::has_the_fields_slots;
use super::trace::{edge_run, walk};
use super::*;
use crate::field::Field;
use crate::intent::Aims;
use crate::symmetry::PlaneChoice;
use crate::symmetry::fixtures::{grid, sculpt_of};
use crate::testing::{Case, all_made, cases};

/// Σ (2 − quarters) over corners + Σ quarters of singularities = 4 χ: Gauss–Bonnet for the
/// field's own angles, with Poincaré–Hopf for what is inside (H. Hopf 1926).
fn assert_countable(region: &Region, what: &str) {
    let bend: i32 = region.loops.iter().map(regions::Loop::bend).sum();
    let inside: i32 = region.singularities.iter().map(|s| s.quarters).sum();
    assert_eq!(
        i64::from(bend + inside),
        4 * region.euler,
        "{what}: bend {bend}, inside {inside}"
    );
}

pub(super) fn marks_of(surface: &WorkSurface, field: &Field, curves: &[Curve], quad: f64) -> Marks {
    let may_turn: Vec<bool> = surface
        .chains
        .iter()
        .map(|chain| match chain.source {
            ChainSource::Curve(c) => curves[c].kind != GuideKind::Ring,
            ChainSource::Plane => false,
            ChainSource::Boundary => true,
        })
        .collect();
    Marks::of_chains(surface, field, &may_turn, &Default::default(), quad)
}

/// Slots rise anticlockwise, and the sectors' quarters sum to the vertex's total.
fn assert_consistent(marks: &Marks, field: &Field, vertex: u32) {
    let here = &marks.at[vertex as usize];
    if here.marks.is_empty() {
        return;
    }
    let around = field.topology.neighbours(vertex);
    assert_eq!(here.marks[0].slot, 0);
    for pair in here.marks.windows(2) {
        assert!(
            pair[0].place < pair[1].place && pair[0].slot < pair[1].slot,
            "{here:?}"
        );
    }
    for mark in &here.marks {
        assert_eq!(around[mark.place as usize].1, mark.edge);
        assert!(marks.curve_of_edge[mark.edge as usize].is_some());
    }
    let marked = around
        .iter()
        .filter(|n| marks.curve_of_edge[n.1 as usize].is_some())
        .count();
    assert_eq!(
        here.marks.len(),
        marked,
        "every marked edge at {vertex} has a slot"
    );
    let sectors: Vec<_> = here
        .marks
        .iter()
        .filter_map(|m| marks.sector_from(field, vertex, m.edge))
        .collect();
    assert!(sectors.iter().all(|s| s.quarters >= 1));
    let sum: u32 = sectors.iter().map(|s| u32::from(s.quarters)).sum();
    assert_eq!(sum, u32::from(here.total), "{here:?}");
}

/// Marks a run of edges; `None`, and the marks as before, if it isn't free or not along the field.
fn mark_run(marks: &mut Marks, field: &Field, run: &[u32], id: u32, chains: u32) -> Option<()> {
    let edges: Option<Vec<u32>> = run
        .windows(2)
        .map(|w| field.topology.edge_between(w[0], w[1]))
        .collect();
    let edges = edges?;
    if run.len() < 3
        || edges
            .iter()
            .any(|&e| marks.curve_of_edge[e as usize].is_some())
        || run[1..run.len() - 1].iter().any(|&v| marks.is_marked(v))
    {
        return None;
    }
    let before = marks.clone();
    for &e in &edges {
        marks.curve_of_edge[e as usize] = Some(id);
    }
    for i in 1..run.len() - 1 {
        marks.pass(field, run[i], edges[i - 1], edges[i]);
    }
    let first = marks.insert(field, run[0], edges[0]);
    let last = marks.insert(field, run[run.len() - 1], edges[edges.len() - 1]);
    // Where only jagged runs tell the field's quarters, they may be told wrongly.
    let on_chain = |v: u32| {
        let curves = before.at[v as usize].marks.iter();
        curves
            .filter_map(|m| before.curve_of_edge[m.edge as usize])
            .any(|c| c < chains)
    };
    if !(first
        && last
        && on_chain(run[0])
        && on_chain(run[run.len() - 1])
        && keeps_off(field, run)
        && has_the_fields_slots(marks, field, run, chains))
    {
        *marks = before;
        return None;
    }
    Some(())
}

/// Whether a run keeps off singular triangles by a triangle at least: nearer, the field turns too
/// fast for an edge to tell its quarter.
fn keeps_off(field: &Field, run: &[u32]) -> bool {
    field.singularities.iter().all(|s| {
        let corners = field.topology.triangles[s.triangle as usize];
        let beside = |v: u32| {
            field
                .topology
                .neighbours(v)
                .iter()
                .any(|n| corners.contains(&n.0))
        };
        !run.iter().any(|&v| corners.contains(&v) || beside(v))
    })
}

/// A streamline that leaves a marked vertex square, led to an end of the edge that it meets.
fn streamline(marks: &Marks, field: &Field, vertex: u32, which: usize) -> Option<Vec<u32>> {
    let here = &marks.at[vertex as usize];
    let sectors: Vec<_> = here
        .marks
        .iter()
        .filter_map(|m| marks.sector_from(field, vertex, m.edge))
        .filter(|s| s.quarters >= 2)
        .collect();
    let sector = *sectors.get(which % sectors.len().max(1))?;
    let step = 1 + (which % (usize::from(sector.quarters) - 1)) as u8;
    let angle = marks.direction_in(field, vertex, sector, step);
    let line = walk(field, marks, vertex, angle, 1e3)?;
    let (mut run, met) = edge_run(field, marks, vertex, &line)?;
    let ends = field.topology.ends(met?);
    let last = *run.last()?;
    let end = ends
        .into_iter()
        .find(|&v| v != run[0] && field.topology.edge_between(last, v).is_some())?;
    run.push(end);
    Some(run)
}

pub(super) type Ground = (Case, Vec<Curve>, WorkSurface, Field);

/// Small surfaces with their fields, made once.
pub(super) fn grounds() -> &'static [Ground] {
    static GROUNDS: std::sync::LazyLock<Vec<Ground>> = std::sync::LazyLock::new(|| {
        cases()
            .into_iter()
            .map(|case| {
                let (_, curves, surface, field) = case.with_field();
                (case, curves, surface, field)
            })
            .collect()
    });
    &GROUNDS
}

#[test]
fn chains_alone_leave_countable_regions() {
    for (case, curves, surface, field) in grounds() {
        let marks = marks_of(surface, field, curves, case.edge);
        for v in 0..surface.positions.len() as u32 {
            assert_consistent(&marks, field, v);
        }
        for cancel in [0.0, 3.0 * case.edge] {
            for region in all_regions(
                field,
                &marks,
                &RegionScale {
                    cancel,
                    ..RegionScale::default()
                },
            ) {
                if !region.loops.is_empty() {
                    assert_countable(&region, case.name);
                }
            }
        }
    }
}

/// Two regions may share both ends of a path; it cuts only the one that it lies in.
#[test]
fn shortest_paths_stay_within_their_region() {
    let mut seen = 0;
    for (case, curves, surface, field) in grounds() {
        let marks = marks_of(surface, field, curves, case.edge);
        let scale = RegionScale::default();
        let regions = all_regions(field, &marks, &scale);
        let chains = surface.chains.len() as u32;
        let laying = lay::Laying::new(field, &surface.positions, marks, chains, case.edge, 3.0);
        for region in &regions {
            let topology = &field.topology;
            let edges_of = |&t: &u32| (3 * t..3 * t + 3).map(|h| topology.edge(h));
            let inside: std::collections::BTreeSet<u32> =
                region.triangles.iter().flat_map(edges_of).collect();
            for path in laying.shortest(region) {
                seen += 1;
                let mut steps = path.run.windows(2);
                let within = |w: &[u32]| {
                    let edge = topology.edge_between(w[0], w[1]);
                    edge.is_some_and(|e| inside.contains(&e))
                };
                assert!(steps.all(within), "{}: {:?}", case.name, path.run);
            }
        }
    }
    assert!(seen > 100, "{seen}");
}

/// A region that only touches a singular triangle, by all three corners, counted it as its own.
#[test]
fn a_singular_place_belongs_to_one_region() {
    let mut tried = 0;
    for (case, curves, surface, field) in grounds() {
        for s in &field.singularities {
            let mut marks = marks_of(surface, field, curves, case.edge);
            let topology = &field.topology;
            let corners = topology.triangles[s.triangle as usize];
            if corners.iter().any(|&v| marks.is_marked(v)) {
                continue;
            }
            let edges = [0, 1, 2].map(|i| topology.edge(3 * s.triangle + i));
            for i in 0..3 {
                marks.curve_of_edge[edges[i] as usize] = Some(surface.chains.len() as u32);
                marks.pass(field, corners[i], edges[(i + 2) % 3], edges[i]);
            }
            let scale = RegionScale::default();
            let mut scratch = Scratch::new(field);
            let inner = region_of(field, &marks, s.triangle, &scale, &mut scratch);
            assert_eq!(inner.singularities, [*s], "{}", case.name);
            let across = topology.twin(3 * s.triangle).unwrap() / 3;
            let outer = region_of(field, &marks, across, &scale, &mut scratch);
            assert!(!outer.singularities.contains(s), "{}", case.name);
            tried += 1;
        }
    }
    assert!(tried > 10, "{tried}");
}

#[test]
fn a_plates_corners_are_where_they_are() {
    let (case, curves, surface, field) = grounds().iter().find(|g| g.0.name == "plate").unwrap();
    // Straight sides: nothing for the field to turn about.
    assert!(field.singularities.is_empty(), "{:?}", field.singularities);
    let marks = marks_of(surface, field, curves, case.edge);
    let mut found: Vec<(u8, [f64; 2])> = (0..surface.positions.len() as u32)
        .filter(|&v| marks.is_node(v))
        .map(|v| {
            (
                marks.at[v as usize].total,
                [0, 1].map(|i: usize| surface.positions[v as usize].to_array()[i]),
            )
        })
        .collect();
    found.sort_by(|a, b| a.partial_cmp(b).unwrap());
    let wanted = [
        (1, [0.0, 0.0]),
        (1, [0.0, 4.0]),
        (1, [2.0, 4.0]),
        (1, [4.0, 0.0]),
        (1, [4.0, 2.0]),
        (3, [2.0, 2.0]),
    ];
    assert_eq!(found, wanted);
}

/// A plate with a tooth on one side, of nearly two quads to either side of its tip, and a line that ends beside
/// the tip: over two quads the rim goes straight on there. The tip was a corner, with a row of quads squeezed
/// between it and the line's end.
#[test]
fn a_tooths_tip_beside_a_lines_end_is_no_corner() {
    let tooth = |x: f64| (0.64 - (x - 3.0).abs()).max(0.0);
    let mesh = grid(120, 80, [false; 2], |u, v| {
        let x = 6.0 * u;
        DVec3::new(x, v * (4.0 + tooth(x)), 0.0)
    });
    let seam = |t: f64| DVec3::new(3.212 - 1.5 * t, 4.428 - 1.5 * t, 0.0);
    let case = Case {
        name: "tooth",
        sculpt: sculpt_of(mesh),
        guides: vec![Guide {
            name: "seam".into(),
            kind: GuideKind::Line,
            closed: false,
            count: None,
            points: (0..=20).map(|i| seam(f64::from(i) / 20.0)).collect(),
        }],
        plane: PlaneChoice::None,
        edge: 0.5,
        faces: None,
    };
    let (_, curves, surface, field) = case.with_field();
    let marks = marks_of(&surface, &field, &curves, case.edge);
    let nodes = (0..surface.positions.len() as u32).filter(|&v| marks.is_node(v));
    let at_rim = nodes.filter(|&v| field.topology.is_boundary_vertex(v));
    let mut found: Vec<(u8, i64)> = at_rim
        .map(|v| {
            let x = surface.positions[v as usize].x;
            (marks.at[v as usize].total, (10.0 * x).round() as i64)
        })
        .collect();
    found.sort_unstable();
    assert_eq!(found, [(1, 0), (1, 0), (1, 60), (1, 60), (2, 32)]);
}

/// Curves from between singular places run from rim to rim, along no other curve, and some of them leave the
/// places on different sides.
#[test]
fn curves_from_between_singular_places_part_them() {
    let mut parted = 0;
    for (case, curves, surface, field) in grounds() {
        let marks = marks_of(surface, field, curves, case.edge);
        let scale = RegionScale::default();
        let regions = all_regions(field, &marks, &scale);
        let chains = surface.chains.len() as u32;
        let mut laying = lay::Laying::new(field, &surface.positions, marks, chains, case.edge, 3.0);
        for region in regions.iter().filter(|r| !r.loops.is_empty()) {
            for candidate in laying.between(region) {
                let run = &candidate.run;
                let ends = [run[0], run[run.len() - 1]];
                assert!(
                    ends.iter().all(|&v| laying.marks.is_marked(v)),
                    "{}",
                    case.name
                );
                assert!(
                    run[1..run.len() - 1]
                        .iter()
                        .all(|&v| !laying.marks.is_marked(v))
                );
                let Some(undo) = laying.lay(run) else {
                    continue;
                };
                let parts = laying.parts(run);
                laying.undo(undo);
                let most = parts.iter().map(|p| p.singularities.len()).max();
                parted += usize::from(most.is_some_and(|n| n < region.singularities.len()));
            }
        }
    }
    assert!(parted > 4, "{parted}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    #[test]
    fn streamlines_keep_regions_countable(
        ground in 0usize..8,
        starts in prop::collection::vec((0usize..10_000, 0usize..12), 1..12),
    ) {
        let (case, curves, surface, field) = &grounds()[ground];
        let mut marks = marks_of(surface, field, curves, case.edge);
        let mut id = surface.chains.len() as u32;
        for (start, which) in starts {
            let marked: Vec<u32> =
                (0..surface.positions.len() as u32).filter(|&v| marks.is_marked(v)).collect();
            let vertex = marked[start % marked.len()];
            let Some(run) = streamline(&marks, field, vertex, which) else { continue };
            let before = marks.clone();
            if mark_run(&mut marks, field, &run, id, surface.chains.len() as u32).is_none() {
                prop_assert_eq!(&before.at, &marks.at);
                continue;
            }
            id += 1;
            for &v in &run {
                assert_consistent(&marks, field, v);
            }
        }
        let regions = all_regions(field, &marks, &RegionScale::default());
        let mut seen = vec![0; surface.triangles.len()];
        for region in &regions {
            region.triangles.iter().for_each(|&t| seen[t as usize] += 1);
            if !region.loops.is_empty() {
                assert_countable(region, case.name);
            }
        }
        prop_assert!(seen.iter().all(|&n| n == 1), "regions part the triangles");
    }
}

#[test]
fn every_patch_is_a_disk_of_three_to_six_corners() {
    for made in all_made() {
        let (field, layout) = (&made.laid.field, &made.laid.layout);
        let mut seen = vec![0; made.laid.surface.triangles.len()];
        for patch in &layout.patches {
            assert!((3..=6).contains(&patch.sides.len()), "{}", made.case.name);
            patch.triangles.iter().for_each(|&t| seen[t as usize] += 1);
            assert_eq!(euler_of(field, patch), 1, "{}", made.case.name);
            // One pole's worth of index: three corners and +1, five and −1, six and −2.
            let inside: i32 = patch.singularities.iter().map(|s| s.quarters).sum();
            assert_eq!(patch.sides.len() as i32 + inside, 4, "{}", made.case.name);
        }
        assert!(
            seen.iter().all(|&n| n == 1),
            "{}: patches part the triangles",
            made.case.name
        );
    }
}

/// V − E + F of a patch cut open along its rim: its rim is one cycle, so V and E on it are equal.
fn euler_of(field: &Field, patch: &Patch) -> i64 {
    let topology = &field.topology;
    let rim: std::collections::BTreeSet<u32> = patch.rim.iter().copied().collect();
    let on_rim: std::collections::BTreeSet<u32> =
        patch.rim.iter().map(|&h| topology.from(h)).collect();
    let (mut edges, mut vertices) = (
        std::collections::BTreeSet::new(),
        std::collections::BTreeSet::new(),
    );
    for h in patch.triangles.iter().flat_map(|&t| 3 * t..3 * t + 3) {
        if !rim.contains(&h) {
            edges.insert(topology.edge(h));
        }
        if !on_rim.contains(&topology.from(h)) {
            vertices.insert(topology.from(h));
        }
    }
    vertices.len() as i64 - edges.len() as i64 + patch.triangles.len() as i64
}

#[test]
fn the_rim_is_one_closed_walk_along_the_sides() {
    for made in all_made() {
        let (field, layout) = (&made.laid.field, &made.laid.layout);
        for patch in &layout.patches {
            let n = patch.rim.len();
            for i in 0..n {
                assert_eq!(
                    field.topology.to(patch.rim[i]),
                    field.topology.from(patch.rim[(i + 1) % n])
                );
            }
            let walked: Vec<u32> = patch
                .sides
                .iter()
                .flatten()
                .flat_map(|used| {
                    let run = &layout.arcs[used.arc].vertices;
                    let mut run: Vec<u32> = run.clone();
                    if !used.forward {
                        run.reverse();
                    }
                    run.pop();
                    run
                })
                .collect();
            let rim: Vec<u32> = patch.rim.iter().map(|&h| field.topology.from(h)).collect();
            assert_eq!(walked, rim, "{}", made.case.name);
        }
    }
}

#[test]
fn every_arc_is_used_once_a_side() {
    for made in all_made() {
        let (field, layout) = (&made.laid.field, &made.laid.layout);
        let mut uses: BTreeMap<usize, Vec<bool>> = BTreeMap::new();
        for used in layout.patches.iter().flat_map(|p| p.sides.iter().flatten()) {
            uses.entry(used.arc).or_default().push(used.forward);
        }
        for (a, arc) in layout.arcs.iter().enumerate() {
            let topology = &field.topology;
            let edge = topology
                .edge_between(arc.vertices[0], arc.vertices[1])
                .unwrap();
            let mut found = uses.remove(&a).unwrap_or_default();
            found.sort_unstable();
            let on_boundary = topology.is_boundary_edge(edge);
            if let ArcSource::Laid(_) = arc.source {
                assert!(!on_boundary);
            }
            if on_boundary {
                assert_eq!(found.len(), 1, "{}: arc {a}", made.case.name);
            } else {
                assert_eq!(found, [false, true], "{}: arc {a}", made.case.name);
            }
        }
    }
}

#[test]
fn arcs_of_a_chain_are_the_whole_chain() {
    for made in all_made() {
        for (c, chain) in made.laid.surface.chains.iter().enumerate() {
            let edges: usize = made
                .laid
                .layout
                .arcs
                .iter()
                .filter(|a| a.source == ArcSource::Chain(c))
                .map(|a| a.vertices.len() - 1)
                .sum();
            assert_eq!(
                edges,
                chain.vertices.len() - usize::from(!chain.closed),
                "{}",
                made.case.name
            );
        }
    }
}

#[test]
fn no_curve_allowed_is_refused_with_a_place() {
    let (case, curves, surface, field) = &grounds()[0];
    let mut options = LayoutOptions::for_edge(case.edge);
    options.most_curves = 0;
    // A tube between rings is no disk, so a curve is needed.
    let error = run(
        surface,
        field,
        curves,
        &Aims::none(surface.positions.len()),
        &options,
        &Task::default(),
    )
    .unwrap_err();
    let LayoutError::NoPatch { at, reason, .. } = &error else {
        panic!("{error}")
    };
    assert!(at[1] > -0.1 && at[1] < 4.1 && at[0].abs() < 1.0, "{at:?}");
    assert!(reason.contains("2 boundary loops"), "{reason}");
    assert!(error.to_string().contains("draw a ring or a line there"));
    // Beside the tube lie guides; the message names them once it knows their names.
    let names: Vec<&String> = case.guides.iter().map(|g| &g.name).collect();
    let text = error.naming(&case.guides).to_string();
    let named = names.iter().filter(|n| text.contains(&format!("\"{n}\"")));
    assert!(named.count() > 0, "{text}");
    assert!(text.contains("away from there, or draw a ring"), "{text}");
}

#[test]
fn cancelling_stops_the_layout() {
    let (case, curves, surface, field) = &grounds()[0];
    let task = Task::default();
    task.cancel();
    let error = run(
        surface,
        field,
        curves,
        &Aims::none(0),
        &LayoutOptions::for_edge(case.edge),
        &task,
    )
    .unwrap_err();
    assert_eq!(error, LayoutError::Cancelled(base::Cancelled));
}
