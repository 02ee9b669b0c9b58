//! Guides that run together, cross, or are cut: followed as one, or refused by name.

use std::f64::consts::TAU;

use engine::guides::GuideError;
use engine::model::{Guide, GuideKind};
use engine::work::WorkError;
use loopwright_session::SessionError;

use crate::draw::{counted, line, on_plate, on_wall, patch, plate, reversed, slanted};
use crate::support::{
    checked, failing, loop_guide, on_bent_tube, run, sculpt_of, settings, tube_ring,
};

/// The guides between two rings of twelve.
fn between(more: &[Guide]) -> Vec<Guide> {
    let rings = [("wrist", 3.0), ("shoulder", 50.0)].map(|(n, s)| tube_ring(n, s, Some(12)));
    [&rings, more].concat()
}

fn fails(guides: &[Guide]) -> Result<Vec<String>, SessionError> {
    let sculpt = sculpt_of(demo::bent_tube(12_000));
    let settings = settings(guides.to_vec(), 320);
    let outcome = run(&sculpt, &settings)?;
    Ok(failing(&checked(&sculpt, &settings, &outcome).1))
}

fn all_held(guides: &[Guide]) {
    assert_eq!(fails(guides).unwrap(), Vec::<String>::new());
}

fn refused(guides: &[Guide], names: &[&str]) -> SessionError {
    let error = fails(guides).unwrap_err();
    for name in names {
        assert!(
            error.to_string().contains(&format!("\"{name}\"")),
            "{error}"
        );
    }
    error
}

fn seam(name: &str, from: f64, to: f64, around: f64) -> Guide {
    line(name, &[[from, around], [to, around]])
}

#[test]
fn guides_on_each_other_are_one_whatever_their_direction_and_kind() {
    let ring = |name, count| tube_ring(name, 12.0, count);
    let closed_line = Guide {
        kind: GuideKind::Line,
        ..ring("stitch", None)
    };
    let one = seam("one", 7.0, 15.0, 0.0);
    all_held(&between(&[ring("x", Some(12)), ring("y", None)]));
    all_held(&between(&[
        ring("x", Some(12)),
        reversed(ring("x", None), "y"),
    ]));
    all_held(&between(&[ring("x", Some(12)), closed_line]));
    all_held(&between(&[one.clone(), reversed(one, "two")]));
    let cuff = loop_guide("cuff", GuideKind::Opening, Some(12), |t| {
        on_bent_tube(5.0, t)
    });
    let rest = [
        tube_ring("stitch", 5.0, None),
        tube_ring("shoulder", 50.0, None),
    ];
    all_held(&[&[cuff][..], &rest].concat());
}

#[test]
fn one_guide_with_two_counts_is_refused_with_the_count_that_does() {
    let guides =
        |count| between(&[12, count].map(|n| tube_ring(&format!("ring of {n}"), 12.0, Some(n))));
    let error = refused(&guides(10), &["ring of 12", "ring of 10"]);
    assert!(
        error
            .to_string()
            .contains("make \"ring of 10\" 12 instead of 10"),
        "{error}"
    );
    let mut changed = guides(10);
    changed[3].count = Some(12);
    all_held(&changed);
}

#[test]
fn a_stretch_that_two_lines_share_counts_for_both() {
    for aside in [0.0, 0.2] {
        let lines = [seam("one", 7.0, 13.0, 0.0), seam("two", 10.0, 16.0, aside)];
        all_held(&between(&lines));
        // Three quads each, of about two: the shared half has as many in both.
        all_held(&between(&lines.map(|l| counted(l, 3))));
    }
}

#[test]
fn guides_side_by_side_are_followed_where_there_is_room_and_refused_where_not() {
    let lines = |apart| between(&[seam("one", 7.0, 15.0, 0.0), seam("two", 7.0, 15.0, apart)]);
    all_held(&lines(1.0));
    let error = refused(&lines(0.6), &["one", "two"]);
    let SessionError::Guides(GuideError::TooClose { room, on, .. }) = error else {
        panic!("{error}")
    };
    // Both ways out work.
    all_held(&lines(1.05 * room));
    all_held(&lines(0.9 * on));
    let cuff = loop_guide("cuff", GuideKind::Opening, Some(12), |t| {
        on_bent_tube(5.0, t)
    });
    let stitched = |s| {
        let rings = [
            tube_ring("stitch", s, Some(12)),
            tube_ring("shoulder", 50.0, None),
        ];
        [&[cuff.clone()][..], &rings].concat()
    };
    let error = refused(&stitched(5.6), &["cuff", "stitch"]);
    let SessionError::Guides(GuideError::TooClose { room, .. }) = error else {
        panic!("{error}")
    };
    all_held(&stitched(5.0 + 1.05 * room));
}

#[test]
fn rings_half_an_edge_apart_keep_their_counts() {
    all_held(&between(&[
        tube_ring("x", 12.0, None),
        tube_ring("y", 13.0, None),
    ]));
    all_held(&between(&[
        tube_ring("x", 12.0, Some(12)),
        tube_ring("y", 13.0, Some(10)),
    ]));
}

#[test]
fn slanted_rings_are_followed() {
    for tilt in [20.0, 45.0] {
        all_held(&between(&[slanted("x", 13.0, tilt, None)]));
    }
    let crossing = [30.0, -30.0].map(|tilt| slanted(&format!("x{tilt}"), 13.0, tilt, None));
    all_held(&between(&crossing));
    let near = [slanted("x", 13.0, 30.0, None), tube_ring("y", 16.3, None)];
    all_held(&between(&near));
}

#[test]
fn a_line_that_crosses_a_ring_twice_or_ends_anywhere_is_followed() {
    let arch = line(
        "arch",
        &[[8.0, -4.0], [14.0, -4.0], [14.0, 4.0], [8.0, 4.0]],
    );
    all_held(&between(&[tube_ring("mid", 12.0, None), arch]));
    for (from, to) in [(8.0, 16.0), (8.0, 10.1), (3.8, 16.0), (4.5, 16.0)] {
        all_held(&between(&[seam("one", from, to, 0.0)]));
    }
    for to in [12.6, 13.5] {
        all_held(&between(&[
            tube_ring("mid", 12.0, None),
            seam("one", 6.0, to, 0.0),
        ]));
    }
}

#[test]
fn a_ring_that_crosses_itself_is_refused_and_a_line_is_not() {
    let corners = [[7.0, -3.0], [14.0, 3.0], [14.0, -3.0], [7.0, 3.0]];
    let eight = |kind, closed| on_wall("eight", kind, closed, &crate::draw::way(&corners));
    let error = refused(&between(&[eight(GuideKind::Ring, true)]), &["eight"]);
    assert!(
        matches!(
            error,
            SessionError::Guides(GuideError::CrossesItself { .. })
        ),
        "{error}"
    );
    let followed = fails(&between(&[eight(GuideKind::Line, false)])).unwrap();
    assert!(
        followed.iter().all(|f| !f.contains("eight")),
        "{followed:?}"
    );
}

#[test]
fn guides_that_are_too_short_say_how_long_they_must_be() {
    let error = refused(
        &between(&[patch("pocket", GuideKind::Ring, [13.0, 0.0], 0.7)]),
        &["pocket"],
    );
    let SessionError::Guides(GuideError::TooShort { least, .. }) = error else {
        panic!("{error}")
    };
    let radius = 1.02 * least / TAU;
    let made = fails(&between(&[patch(
        "pocket",
        GuideKind::Ring,
        [13.0, 0.0],
        radius,
    )]))
    .unwrap();
    assert!(made.iter().all(|f| !f.contains("pocket")), "{made:?}");
    let error = refused(&between(&[seam("tack", 8.0, 9.0, 0.0)]), &["tack"]);
    let SessionError::Guides(GuideError::TooShort { least, .. }) = error else {
        panic!("{error}")
    };
    all_held(&between(&[seam("tack", 8.0, 8.0 + 1.02 * least, 0.0)]));
}

#[test]
fn an_opening_through_a_ring_names_both() {
    let slope = |t: f64| on_bent_tube(12.0 + 4.0 * (t * TAU).cos(), t);
    let cuff = loop_guide("cuff", GuideKind::Opening, None, slope);
    let guides = |s, far| {
        vec![
            tube_ring("p", s, Some(12)),
            cuff.clone(),
            tube_ring("q", far, None),
        ]
    };
    let error = refused(&guides(12.0, 46.0), &["cuff", "p"]);
    assert!(
        matches!(error, SessionError::Work(WorkError::OpeningCuts { .. })),
        "{error}"
    );
    // Drawn where the surface stays, as the message says.
    all_held(&guides(20.0, 46.0));
}

#[test]
fn guides_on_both_sides_of_an_opening_are_named() {
    let cuff = loop_guide("cuff", GuideKind::Opening, None, |t| on_bent_tube(12.0, t));
    let guides = [
        seam("seam", 4.0, 8.0, 0.0),
        cuff,
        tube_ring("q", 46.0, None),
    ];
    let error = refused(&guides, &["cuff", "seam", "q"]);
    assert!(error.to_string().contains("leave out \"seam\""), "{error}");
    all_held(&guides[1..]);
}

#[test]
fn an_opening_on_a_plate_keeps_the_larger_side() {
    let sculpt = sculpt_of(plate());
    let around = |radius: f64| -> Vec<[f64; 2]> {
        let angles = (0..48).map(|i| TAU * f64::from(i) / 48.0);
        angles
            .map(|a| [radius * a.cos(), radius * a.sin()])
            .collect()
    };
    let disk = |radius: f64| TAU / 2.0 * radius * radius;
    for (radius, kept) in [(8.0, 1600.0 - disk(8.0)), (18.0, disk(18.0))] {
        let edge = on_plate("edge", GuideKind::Opening, true, &around(radius));
        let outcome = run(&sculpt, &settings(vec![edge], 320)).unwrap();
        let area = crate::support::area(&outcome.surface);
        assert!(
            (area / kept - 1.0).abs() < 0.03,
            "{radius}: {area} of {kept}"
        );
    }
}
