//! What edits promise.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use base::{Findings, Level, Task};
use mesh::{DVec3, QuadMesh};

use super::draft::Draft;
use super::*;
use crate::assemble::{Parts, Sides};
use crate::model::Sculpt;
use crate::symmetry::fixtures::{grid, on_tube, sculpt_of};
use crate::testing::{Made, X, all_made, made};

/// Quads of a grid that may close along either direction, over a sculpt of the same shape.
fn quads(
    columns: u32,
    rows: u32,
    closed: [bool; 2],
    point: impl Fn(f64, f64) -> DVec3 + Copy,
) -> (QuadMesh, Sculpt) {
    let across = if closed[0] { columns } else { columns + 1 };
    let along = if closed[1] { rows } else { rows + 1 };
    let share = |i: u32, n: u32| f64::from(i) / f64::from(n);
    let positions = (0..along)
        .flat_map(|j| (0..across).map(move |i| point(share(i, columns), share(j, rows))))
        .collect();
    let at = |i: u32, j: u32| (j % along) * across + i % across;
    let quads = (0..rows)
        .flat_map(|j| {
            (0..columns).map(move |i| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
        })
        .collect();
    let mesh = QuadMesh {
        positions,
        quads,
        groups: vec![],
    };
    (mesh, sculpt_of(grid(60, 60, closed, point)))
}

fn plate() -> (QuadMesh, Sculpt) {
    quads(6, 5, [false; 2], |u, v| DVec3::new(6.0 * u, 5.0 * v, 0.0))
}

fn sleeve() -> (QuadMesh, Sculpt) {
    quads(12, 8, [true, false], |u, v| on_tube(1.0, u, 4.0 * v))
}

fn torus() -> (QuadMesh, Sculpt) {
    quads(18, 8, [true; 2], |u, v| {
        let r = 3.0 + (TAU * v).cos();
        DVec3::new(r * (TAU * u).cos(), r * (TAU * u).sin(), (TAU * v).sin())
    })
}

/// One strip that leaves the first quad by its right side and comes back by its top.
fn crossing() -> QuadMesh {
    let flat = |x: i32, y: i32| DVec3::new(f64::from(x), f64::from(y), 0.0);
    QuadMesh {
        positions: vec![
            flat(-2, -2),
            flat(-1, -2),
            flat(-1, -1),
            flat(-2, -1),
            flat(2, -2),
            flat(1, -1),
            flat(2, 2),
            flat(1, 1),
            flat(-2, 2),
            flat(-1, 1),
        ],
        quads: vec![
            [0, 1, 2, 3],
            [1, 4, 5, 2],
            [4, 6, 7, 5],
            [6, 8, 9, 7],
            [8, 3, 2, 9],
        ],
        groups: vec![],
    }
}

fn place(at: DVec3, along: DVec3) -> LoopPlace {
    LoopPlace { at, along }
}

fn edit(change: Change) -> Edit {
    Edit {
        number: 2,
        line: 41,
        change,
        recount: false,
    }
}

/// Vertices, edges, faces.
fn counts(mesh: &QuadMesh) -> [usize; 3] {
    let edges = mesh.topology().edges.len();
    [mesh.positions.len(), edges, mesh.quads.len()]
}

/// Quads turned so that their lowest vertex comes first, sorted.
fn connectivity(mesh: &QuadMesh) -> Vec<[u32; 4]> {
    let mut all: Vec<[u32; 4]> = mesh
        .quads
        .iter()
        .map(|quad| {
            let least = (0..4).fold(0, |l, i| if quad[i] < quad[l] { i } else { l });
            std::array::from_fn(|i| quad[(least + i) % 4])
        })
        .collect();
    all.sort_unstable();
    all
}

/// All quads, manifold, oriented, with the Euler characteristic that it had; every old vertex has
/// its valence, every new one is regular.
fn holds_what_it_held(before: &QuadMesh, after: &QuadMesh) {
    let (old, new) = (before.topology(), after.topology());
    assert!(sound::is_sound(&after.quads, after.positions.len(), &old));
    assert_eq!(old.euler_characteristic(), new.euler_characteristic());
    for v in 0..after.positions.len() {
        if v < before.positions.len() {
            assert_eq!(old.valence[v], new.valence[v], "vertex {v}");
        } else {
            let regular = if new.on_boundary[v] { 3 } else { 4 };
            assert_eq!(new.valence[v], regular, "vertex {v}");
        }
    }
}

#[test]
fn a_closed_loop_adds_n_2n_n_and_an_open_one_one_more() {
    // Along the tube's axis: from boundary to boundary; around it: closed. Counted by hand from
    // Euler's formula: V − E + F stays.
    let (mesh, sculpt) = sleeve();
    for (along, added) in [(DVec3::Y, [9, 17, 8]), (DVec3::NEG_X, [12, 24, 12])] {
        let mut draft = Draft::bare(mesh.clone(), &sculpt, 0.5);
        let played = insert::play(&mut draft, place(on_tube(1.0, 0.21, 1.2), along), 0.5).unwrap();
        let (before, after) = (counts(&mesh), counts(&draft.mesh));
        assert_eq!(std::array::from_fn(|i| after[i] - before[i]), added);
        assert_eq!((played.vertices, played.unplaced), (added[0], 0));
        holds_what_it_held(&mesh, &draft.mesh);
    }
    // A strip of a torus that closes on itself, either way.
    let (mesh, sculpt) = torus();
    for (along, n) in [(DVec3::Y, 18), (DVec3::Z, 8)] {
        let mut draft = Draft::bare(mesh.clone(), &sculpt, 1.0);
        let at = DVec3::new(4.0, 0.2, 0.1);
        insert::play(&mut draft, place(at, along), 0.5).unwrap();
        let (before, after) = (counts(&mesh), counts(&draft.mesh));
        assert_eq!(std::array::from_fn(|i| after[i] - before[i]), [n, 2 * n, n]);
        holds_what_it_held(&mesh, &draft.mesh);
    }
}

#[test]
fn the_share_counts_from_right_to_left() {
    let (mesh, sculpt) = plate();
    let insert_at = |along: DVec3, share: f64| {
        let mut draft = Draft::bare(mesh.clone(), &sculpt, 1.0);
        insert::play(&mut draft, place(DVec3::new(2.4, 2.5, 0.0), along), share).unwrap();
        let new = &draft.mesh.positions[mesh.positions.len()..];
        assert!(new.iter().all(|p| (p.x - new[0].x).abs() < 1e-12));
        assert_eq!(new.len(), 6);
        new[0].x
    };
    // Going up the page left is −x: the strip from x = 2 to 3.
    assert!((insert_at(DVec3::Y, 0.25) - 2.75).abs() < 1e-12);
    assert!((insert_at(DVec3::NEG_Y, 0.25) - 2.25).abs() < 1e-12);
    for share in [0.0, 1.0, f64::NAN] {
        let mut draft = Draft::bare(mesh.clone(), &sculpt, 1.0);
        let fault = insert::play(&mut draft, place(DVec3::ONE, DVec3::Y), share).unwrap_err();
        assert!(matches!(fault, EditFault::Share { .. }));
    }
}

#[test]
fn new_vertices_lie_as_far_off_the_sculpt_as_their_neighbours() {
    // Quads 2 % outside of a cylinder of radius 1, as faces that straddle it are.
    let (mut mesh, sculpt) = sleeve();
    for p in &mut mesh.positions {
        (p.x, p.z) = (1.02 * p.x, 1.02 * p.z);
    }
    let mut draft = Draft::bare(mesh.clone(), &sculpt, 0.5);
    insert::play(&mut draft, place(on_tube(1.0, 0.21, 1.2), DVec3::Y), 0.3).unwrap();
    for p in &draft.mesh.positions[mesh.positions.len()..] {
        let radius = p.x.hypot(p.z);
        // The sculpt's own chords: 1 − cos(π / 60) = 0.0014.
        assert!((radius - 1.02).abs() < 0.002, "{radius}");
    }
}

#[test]
fn no_vertex_jumps_through_cloth() {
    // Two layers 0.1 apart, edges of 1: the inner layer faces the other way.
    let (mesh, outer) = plate();
    let mut both = (*outer.mesh).clone();
    let n = both.positions.len() as u32;
    let inner = outer
        .mesh
        .triangles
        .iter()
        .map(|&[a, b, c]| [a + n, c + n, b + n]);
    both.triangles.extend(inner);
    both.positions.extend_from_within(..);
    for p in &mut both.positions[n as usize..] {
        p.z -= 0.1;
    }
    let sculpt = sculpt_of(both);
    let mut lower = mesh.clone();
    for p in &mut lower.positions {
        // Nearer to the wrong layer.
        p.z = -0.09;
    }
    let mut draft = Draft::bare(lower, &sculpt, 1.0);
    let to = DVec3::new(2.3, 2.2, -0.1);
    shift::shift(&mut draft, DVec3::new(2.0, 2.0, 0.0), to, 0).unwrap();
    let moved = draft.mesh.positions[16];
    // On the layer that faces its way, −0.09 off as it was.
    assert!(
        moved.distance(DVec3::new(2.3, 2.2, -0.09)) < 1e-9,
        "{moved}"
    );
}

#[test]
fn strips_and_loops_that_cross_themselves_are_refused_by_name() {
    let mesh = crossing();
    let sculpt = plate().1;
    let mut draft = Draft::bare(mesh.clone(), &sculpt, 1.0);
    let there = place(DVec3::new(-1.5, -1.5, 0.0), DVec3::X);
    let fault = insert::play(&mut draft, there, 0.5).unwrap_err();
    let EditFault::StripCrosses { at } = fault else {
        panic!("{fault}");
    };
    assert_eq!(at, [-1.5, -1.5, 0.0]);
    assert_eq!(draft.mesh, mesh);
    let said = refused(
        &edit(Change::Insert {
            place: there,
            share: 0.5,
        }),
        &fault,
    );
    assert_eq!(said.level, Level::Fail);
    assert!(
        said.sentence
            .starts_with("Edit 2 (insert, line 41) was not played: the strip")
    );
}

#[test]
fn removing_takes_the_nearest_loop_and_merges_its_strips() {
    let (mesh, sculpt) = sleeve();
    let mut draft = Draft::bare(mesh.clone(), &sculpt, 0.5);
    let played = remove::play(&mut draft, place(on_tube(1.0, 0.2, 1.45), DVec3::X)).unwrap();
    assert_eq!((played.vertices, played.quads), (12, 12));
    holds_its_kind(&mesh, &draft.mesh);
    assert!(
        draft
            .mesh
            .positions
            .iter()
            .all(|p| (p.y - 1.5).abs() > 1e-9)
    );
    assert_eq!(
        counts(&mesh).map(|n| n as i64)[1] - counts(&draft.mesh)[1] as i64,
        24
    );
    // Boundary to boundary.
    let played = remove::play(&mut draft, place(on_tube(1.0, 0.24, 2.2), DVec3::Y)).unwrap();
    assert_eq!((played.vertices, played.quads), (8, 7));
    holds_its_kind(&mesh, &draft.mesh);
}

fn holds_its_kind(before: &QuadMesh, after: &QuadMesh) {
    assert!(sound::is_sound(
        &after.quads,
        after.positions.len(),
        &before.topology()
    ));
    let irregular = |m: &QuadMesh| {
        let t = m.topology();
        let all = t.poles().into_iter().map(|v| t.valence[v as usize]);
        let mut all: Vec<u32> = all.collect();
        all.sort_unstable();
        all
    };
    assert_eq!(irregular(before), irregular(after));
}

#[test]
fn the_last_loops_of_a_tube_stay() {
    // Three quads around: with one less the tube would be flat.
    let (mesh, sculpt) = quads(3, 4, [true, false], |u, v| on_tube(1.0, u, 4.0 * v));
    let mut draft = Draft::bare(mesh, &sculpt, 1.5);
    remove::play(&mut draft, place(on_tube(1.0, 0.0, 2.2), DVec3::Y)).unwrap_err();
    let faults = [
        (on_tube(1.0, 0.0, 0.0), DVec3::Z, "the surface's edge"),
        (on_tube(1.0, 0.1, 0.1), DVec3::Z, "the surface's edge"),
    ];
    for (at, along, part) in faults {
        let fault = remove::play(&mut draft, place(at, along)).unwrap_err();
        assert!(fault.to_string().contains(part), "{fault}");
    }
}

#[test]
fn a_loop_that_ends_at_a_pole_stays() {
    let ball = made("ball");
    let mesh = &ball.whole.mesh;
    let topology = mesh.topology();
    let poles = topology.poles();
    assert!(!poles.is_empty());
    let mut draft = Draft::new(&parts(ball), &ball.whole);
    for &pole in &poles {
        let edge = topology.edges.iter().find(|e| e.contains(&pole)).unwrap();
        let [a, b] = edge.map(|v| mesh.positions[v as usize]);
        let fault = remove::play(&mut draft, place((a + b) / 2.0, b - a));
        assert!(
            matches!(
                fault,
                Err(EditFault::EndsAtPole { .. } | EditFault::Carries { .. })
            ),
            "{fault:?}"
        );
    }
}

#[test]
fn sliding_moves_a_loop_its_share_of_the_way_over_the_sculpt() {
    let (mesh, sculpt) = sleeve();
    for (along, share, y) in [
        // Seen from outside with y up, going −z at x = 1 is to the right on the page.
        (DVec3::NEG_Z, 0.4, 1.7),
        (DVec3::NEG_Z, -0.4, 1.3),
        (DVec3::Z, 0.4, 1.3),
    ] {
        let mut draft = Draft::bare(mesh.clone(), &sculpt, 0.5);
        let there = place(DVec3::new(1.0, 1.45, 0.01), along);
        let played = shift::slide(&mut draft, there, share).unwrap();
        assert_eq!(played.vertices, 12);
        let moved = draft
            .mesh
            .positions
            .iter()
            .filter(|p| (p.y - y).abs() < 1e-6);
        assert_eq!(moved.count(), 12, "{along} {share}");
        assert_eq!(draft.mesh.quads, mesh.quads);
        assert!(
            draft
                .mesh
                .positions
                .iter()
                .all(|p| (p.x.hypot(p.z) - 1.0).abs() < 2e-3)
        );
    }
    let mut draft = Draft::bare(mesh, &sculpt, 0.5);
    let there = place(DVec3::new(1.0, 1.45, 0.01), DVec3::Z);
    let fault = shift::slide(&mut draft, there, 1.0).unwrap_err();
    assert!(matches!(fault, EditFault::Share { .. }));
}

#[test]
fn a_moved_vertex_lies_where_it_was_put_and_its_neighbours_give_way() {
    let (mesh, sculpt) = torus();
    let old = mesh.positions[0];
    let to = DVec3::new(3.9, 0.45, 0.35);
    for relax in [0, 2] {
        let mut draft = Draft::bare(mesh.clone(), &sculpt, 1.0);
        shift::shift(&mut draft, old, to, relax).unwrap();
        let there = draft.mesh.positions[0];
        let tube = (there.truncate().length() - 3.0).hypot(there.z);
        assert!((tube - 1.0).abs() < 0.01, "{tube}");
        assert!(there.distance(to) < 0.1, "{there}");
        let moved = (0..mesh.positions.len())
            .filter(|&v| draft.mesh.positions[v] != mesh.positions[v])
            .count();
        // Two edges around a regular vertex: 4 and 8 more.
        assert_eq!(moved, if relax == 0 { 1 } else { 13 });
        assert_eq!(draft.mesh.quads, mesh.quads);
    }
}

#[test]
fn what_is_too_far_or_square_to_the_surface_is_no_place() {
    let (mesh, sculpt) = plate();
    let mut draft = Draft::bare(mesh.clone(), &sculpt, 1.0);
    let far = DVec3::new(3.0, 3.0, 1.01);
    let near = DVec3::new(3.0, 3.0, 0.99);
    let no_place = |fault: EditFault| assert!(matches!(fault, EditFault::NoPlace { .. }));
    no_place(insert::play(&mut draft, place(far, DVec3::X), 0.5).unwrap_err());
    no_place(remove::play(&mut draft, place(far, DVec3::X)).unwrap_err());
    no_place(shift::slide(&mut draft, place(far, DVec3::X), 0.5).unwrap_err());
    no_place(shift::shift(&mut draft, far, near, 0).unwrap_err());
    no_place(shift::shift(&mut draft, near, far, 0).unwrap_err());
    let square = place(near, DVec3::new(0.1, 0.0, 1.0));
    let fault = insert::play(&mut draft, square, 0.5).unwrap_err();
    assert_eq!(fault, EditFault::NoDirection);
    assert_eq!(draft.mesh, mesh);
    insert::play(&mut draft, place(near, DVec3::X), 0.5).unwrap();
}

/// Numbers that look random, the same each time (Knuth's 64-bit linear congruence, MMIX).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn index(&mut self, n: usize) -> usize {
        (self.next() * n as f64) as usize
    }
}

#[test]
fn what_is_inserted_can_be_removed_and_leaves_no_trace() {
    let mut numbers = Numbers(7);
    let mut tried = 0;
    let shapes = [plate(), sleeve(), torus()];
    let ball = &made("ball");
    let shapes = shapes
        .iter()
        .map(|(mesh, sculpt)| (mesh, sculpt))
        .chain([(&ball.whole.mesh, &ball.case.sculpt)]);
    for (mesh, sculpt) in shapes {
        for _ in 0..40 {
            let mut draft = Draft::bare(mesh.clone(), sculpt, 1.0);
            let q = numbers.index(mesh.quads.len());
            let [a, b, c, d] = mesh.quads[q].map(|v| mesh.positions[v as usize]);
            let along = if numbers.next() < 0.5 {
                c + d - a - b
            } else {
                a + d - b - c
            };
            let share = 0.1 + 0.8 * numbers.next();
            let there = place(mesh.centre(q), along);
            match insert::play(&mut draft, there, share) {
                Ok(_) => {}
                Err(EditFault::StripCrosses { .. }) => continue,
                Err(fault) => panic!("{fault}"),
            }
            holds_what_it_held(mesh, &draft.mesh);
            let old = mesh.positions.len() as u32;
            let topology = draft.mesh.topology();
            let of_loop = |e: &&[u32; 2]| e[0] >= old && e[1] >= old;
            let [a, b] = topology
                .edges
                .iter()
                .find(of_loop)
                .unwrap()
                .map(|v| draft.mesh.positions[v as usize]);
            remove::play(&mut draft, place((a + b) / 2.0, b - a)).unwrap();
            assert_eq!(connectivity(&draft.mesh), connectivity(mesh));
            assert_eq!(draft.mesh.positions, mesh.positions);
            tried += 1;
        }
    }
    assert!(tried > 120, "{tried}");
}

#[test]
fn many_edits_in_a_row_leave_a_sound_surface() {
    let mut numbers = Numbers(11);
    for (mesh, sculpt) in [plate(), sleeve(), torus()] {
        let mut draft = Draft::bare(mesh.clone(), &sculpt, 1.0);
        let mut played = 0;
        for _ in 0..60 {
            let q = numbers.index(draft.mesh.quads.len());
            let [a, b, c, d] = draft.mesh.quads[q].map(|v| draft.mesh.positions[v as usize]);
            let along = if numbers.next() < 0.5 {
                c + d - a - b
            } else {
                a + d - b - c
            };
            let there = place(draft.mesh.centre(q), along);
            let before = draft.clone();
            let result = match numbers.index(3) {
                0 => insert::play(&mut draft, there, 0.5),
                1 => remove::play(&mut draft, there),
                _ => shift::slide(&mut draft, there, 0.5 * numbers.next()),
            };
            if result.is_ok() {
                played += 1;
            } else {
                assert_eq!(draft.mesh, before.mesh);
            }
            assert_eq!(draft.quads.len(), draft.mesh.quads.len());
            assert_eq!(draft.ties.len(), draft.mesh.positions.len());
            holds_its_kind(&mesh, &draft.mesh);
        }
        assert!(played > 30, "{played}");
    }
}

fn parts(made: &Made) -> Parts<'_> {
    let laid = &made.laid;
    Parts {
        half: &made.placed,
        filled: &made.filled,
        surface: &laid.surface,
        layout: &laid.layout,
        plan: &made.plan,
        curves: &laid.curves,
        guides: &made.case.guides,
        sculpt: &made.case.sculpt,
        plane: laid.plane,
        sides: Sides::Mirror,
        edge: made.case.edge,
    }
}

fn played(made: &Made, edits: &[Edit]) -> Edited {
    run(&parts(made), &made.whole, edits, &Task::default()).unwrap()
}

fn codes(findings: &Findings) -> Vec<&str> {
    findings.iter().map(|f| f.code.as_str()).collect()
}

#[test]
fn without_edits_nothing_changes() {
    for made in all_made() {
        let edited = played(made, &[]);
        let (one, two) = (&edited.whole, &made.whole);
        assert!(one.mesh == two.mesh, "{}", made.case.name);
        assert_eq!(one.patch_of_quad, two.patch_of_quad);
        assert_eq!(one.poles, two.poles);
        assert_eq!(edited.guides, made.case.guides);
        assert_eq!(edited.added_quads, 0);
    }
}

fn bits(p: DVec3) -> [u64; 3] {
    // Adding nought makes −0 and 0 one.
    p.to_array().map(|c| (c + 0.0).to_bits())
}

fn is_mirrored(mesh: &QuadMesh) {
    let index: BTreeMap<[u64; 3], u32> = (0..)
        .zip(&mesh.positions)
        .map(|(v, &p)| (bits(p), v))
        .collect();
    assert_eq!(index.len(), mesh.positions.len());
    let image = |v: u32| index[&bits(X.mirror(mesh.positions[v as usize]))];
    let mirrored = QuadMesh {
        quads: mesh
            .quads
            .iter()
            .map(|&[a, b, c, d]| [a, d, c, b].map(image))
            .collect(),
        ..mesh.clone()
    };
    assert_eq!(connectivity(mesh), connectivity(&mirrored));
}

/// Loops into the sleeve of the case "half": across the waist, along it, and out again.
fn some_edits(side: f64) -> Vec<Edit> {
    let mirrored = |p: DVec3| DVec3::new(side * p.x, p.y, p.z);
    let across = place(mirrored(on_tube(1.0, 0.15, 2.4)), DVec3::Y);
    let along = place(
        mirrored(on_tube(1.0, 0.1, 2.6)),
        mirrored(on_tube(1.0, 0.12, 0.0) - on_tube(1.0, 0.08, 0.0)),
    );
    // Seen in the mirror, right is left.
    let (share, slide) = if side > 0.0 {
        (0.25, 0.25)
    } else {
        (0.75, -0.25)
    };
    let changes = [
        Change::Insert {
            place: across,
            share,
        },
        Change::Insert {
            place: along,
            share,
        },
        Change::Slide {
            place: along,
            share: slide,
        },
        Change::Move {
            from: mirrored(on_tube(1.0, 0.2, 1.2)),
            to: mirrored(on_tube(1.0, 0.21, 1.25)),
            relax: 1,
        },
    ];
    (1..)
        .zip(changes)
        .map(|(number, change)| Edit {
            number,
            line: 40 + number,
            change,
            recount: true,
        })
        .collect()
}

#[test]
fn a_mirrored_surface_stays_mirrored_whichever_side_is_named() {
    let half = made("half");
    let [one, two] = [1.0, -1.0].map(|side| played(half, &some_edits(side)));
    assert_eq!(
        codes(&one.findings)
            .iter()
            .filter(|c| **c == "edit-played")
            .count(),
        4
    );
    is_mirrored(&one.whole.mesh);
    assert!(one.added_quads > 0 && one.added_quads % 2 == 0);
    assert_eq!(one.whole.mesh.quads, two.whole.mesh.quads);
    for (p, q) in one
        .whole
        .mesh
        .positions
        .iter()
        .zip(&two.whole.mesh.positions)
    {
        assert!(p.distance(*q) < 1e-9);
    }
    // Played twice: the same bytes.
    let again = played(half, &some_edits(1.0));
    let all = |e: &Edited| {
        format!(
            "{:?}",
            (
                e.whole
                    .mesh
                    .positions
                    .iter()
                    .map(|&p| bits(p))
                    .collect::<Vec<_>>(),
                &e.whole,
                &e.findings,
                &e.guides
            )
        )
    };
    assert_eq!(all(&one), all(&again));
}

#[test]
fn groups_patches_and_reasons_are_carried_through() {
    let half = made("half");
    let edited = played(half, &some_edits(1.0)).whole;
    let n = edited.mesh.quads.len();
    assert_eq!(edited.patch_of_quad.len(), n);
    let names = |m: &QuadMesh| m.groups.iter().map(|g| g.name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&edited.mesh), names(&half.whole.mesh));
    let grouped: usize = edited.mesh.groups.iter().map(|g| g.quads.len()).sum();
    assert_eq!(grouped, n);
    for group in &edited.mesh.groups {
        assert!(group.quads.is_sorted());
    }
    assert_eq!(edited.poles.len(), half.whole.poles.len());
    for (now, then) in edited.poles.iter().zip(&half.whole.poles) {
        assert_eq!((now.valence, &now.reason), (then.valence, &then.reason));
    }
}

#[test]
fn a_promise_is_broken_unless_the_edit_says_so() {
    let half = made("half");
    let insert = |recount| Edit {
        recount,
        ..edit(Change::Insert {
            place: place(on_tube(1.0, 0.15, 2.4), DVec3::Y),
            share: 0.5,
        })
    };
    let edited = played(half, &[insert(false)]);
    assert_eq!(codes(&edited.findings), ["edit-played", "edit-count"]);
    let said = edited.findings.iter().nth(1).unwrap();
    assert_eq!(said.level, Level::Warn);
    assert_eq!((said.value, said.limit), (Some(18.0), Some(16.0)));
    assert!(said.sentence.contains("'waist'") && said.sentence.contains("line 41"));
    assert_eq!(edited.guides, half.case.guides);
    let edited = played(half, &[insert(true)]);
    assert_eq!(edited.guides[0].count, Some(18));
}

#[test]
fn a_loop_that_something_asks_for_is_refused_by_its_name() {
    let half = made("half");
    let around = |turn: f64| on_tube(1.0, turn + 0.02, 0.0) - on_tube(1.0, turn - 0.02, 0.0);
    for (at, along, name) in [
        (on_tube(1.0, 0.15, 2.0), around(0.15), "guide 'waist'"),
        (on_tube(1.0, 0.15, 0.4), around(0.15), "guide 'hem'"),
        (on_tube(1.0, 0.08, 2.8), DVec3::Y, "guide 'seam'"),
        (on_tube(1.0, 0.25, 2.3), DVec3::Y, "the centre line"),
        (on_tube(1.0, 0.08, 3.4), around(0.08), "guide 'seam' ends"),
    ] {
        for change in [
            Change::Remove {
                place: place(at, along),
            },
            Change::Slide {
                place: place(at, along),
                share: 0.3,
            },
        ] {
            let edited = played(half, &[edit(change)]);
            let said = edited.findings.iter().next().unwrap();
            let wanted = if said.sentence.contains("(slide") {
                name.trim_end_matches(" ends")
            } else {
                name
            };
            assert_eq!(said.code, "edit-refused", "{}", said.sentence);
            assert!(said.sentence.contains(wanted), "{name}: {}", said.sentence);
            assert_eq!(edited.whole.mesh, half.whole.mesh);
        }
    }
    // Where the seam ends.
    let change = Change::Move {
        from: on_tube(1.0, 0.08, 3.4),
        to: on_tube(1.0, 0.08, 3.5),
        relax: 0,
    };
    let edited = played(half, &[edit(change)]);
    let said = edited.findings.iter().next().unwrap();
    assert!(
        said.sentence.contains("held by guide 'seam'"),
        "{}",
        said.sentence
    );
}

#[test]
fn an_edit_that_lost_its_place_lets_the_others_play() {
    let half = made("half");
    let mut edits = some_edits(1.0);
    let rest = played(half, &edits);
    let lost = place(DVec3::new(0.0, 9.0, 0.0), DVec3::X);
    edits.insert(0, edit(Change::Remove { place: lost }));
    let edited = played(half, &edits);
    let said = edited.findings.iter().next().unwrap();
    assert_eq!(
        (said.code.as_str(), said.level),
        ("edit-no-place", Level::Fail)
    );
    assert!(
        said.sentence
            .starts_with("Edit 2 (remove, line 41) was not played: the nearest")
    );
    assert_eq!(edited.whole.mesh, rest.whole.mesh);
}

#[test]
fn cancelling_stops_the_edits() {
    let half = made("half");
    let task = Task::default();
    task.cancel();
    let stopped = run(&parts(half), &half.whole, &some_edits(1.0), &task);
    assert!(matches!(stopped, Err(EditError::Cancelled(_))));
}
