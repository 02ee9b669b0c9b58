//! What held regions promise.

use std::collections::BTreeSet;

use mesh::{DVec3, QuadMesh};

use super::*;
use crate::model::Plane;

const X: Plane = Plane {
    origin: DVec3::ZERO,
    normal: DVec3::X,
};

/// A flat grid of unit quads with its corner at `(x, 0)`.
fn grid(x: f64, columns: u32, rows: u32) -> QuadMesh {
    let at = |i: u32, j: u32| i * (rows + 1) + j;
    let points = (0..=columns)
        .flat_map(|i| (0..=rows).map(move |j| DVec3::new(x + f64::from(i), f64::from(j), 0.0)));
    let quads = (0..columns).flat_map(|i| {
        (0..rows).map(move |j| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
    });
    QuadMesh {
        positions: points.collect(),
        quads: quads.collect(),
        groups: vec![],
    }
}

fn around(x: f64, y: f64, reach: f64) -> Region {
    let at = DVec3::new(x, y, 0.0);
    Region::Around { at, reach }
}

fn held(hold: &Hold, plane: Option<Plane>) -> Held {
    Held::new(std::slice::from_ref(hold), plane)
        .unwrap()
        .unwrap()
}

#[test]
fn a_round_mark_grows_into_a_rectangle() {
    let mesh = grid(0.0, 20, 20);
    let hold = grow(&mesh, &around(9.5, 9.5, 2.3), None, "patch").unwrap();
    // Middles within 2.3 of one: 5 × 5 without the corners, whose notches are filled.
    assert_eq!(hold.quads.len(), 25);
    assert_eq!(hold.rim.len(), 20);
    let runs = held(&hold, None).runs(&BTreeSet::new(), true);
    assert_eq!(runs.iter().map(Run::count).collect::<Vec<_>>(), [5; 4]);
    let one = held(&hold, None).runs(&BTreeSet::new(), false);
    assert_eq!((one.len(), one[0].closed, one[0].count()), (1, true, 20));
}

#[test]
fn positions_are_those_of_the_surface_to_the_bit() {
    let mut mesh = grid(0.0, 8, 8);
    for p in &mut mesh.positions {
        *p += DVec3::new(0.1, 1.0 / 3.0, 1e-17);
    }
    let hold = grow(&mesh, &around(4.0, 4.0, 1.6), None, "patch").unwrap();
    let bits = |p: &DVec3| p.to_array().map(f64::to_bits);
    let all: BTreeSet<_> = mesh.positions.iter().map(bits).collect();
    assert!(hold.positions.iter().all(|p| all.contains(&bits(p))));
}

#[test]
fn a_mark_at_the_end_ends_there_and_one_at_the_plane_on_it() {
    let mesh = grid(0.0, 20, 20);
    let hold = grow(&mesh, &around(9.5, 0.5, 2.3), None, "patch").unwrap();
    // Three rows of five at the end of the surface: two sides of three and one of five.
    assert_eq!(hold.quads.len(), 15);
    let patch = held(&hold, None);
    let runs = patch.runs(&BTreeSet::new(), true);
    let counts: Vec<usize> = runs.iter().map(Run::count).collect();
    assert_eq!(counts.iter().sum::<usize>(), 11);
    assert_eq!(patch.ends().count(), 5);
    assert!(runs.iter().all(|r| !r.closed));

    let both = grid(-10.0, 20, 20);
    for x in [0.5, -0.5] {
        let hold = grow(&both, &around(x, 9.5, 2.3), Some(X), "patch").unwrap();
        assert!(hold.positions.iter().all(|p| p.x >= 0.0));
        assert_eq!(
            hold.quads.len(),
            15,
            "a mark on either side counts for both"
        );
        let runs = held(&hold, Some(X)).runs(&BTreeSet::new(), true);
        assert_eq!(runs.iter().map(Run::count).sum::<usize>(), 11);
    }
}

#[test]
fn runs_part_where_guides_land() {
    let mesh = grid(0.0, 20, 20);
    let hold = grow(&mesh, &around(9.5, 9.5, 2.3), None, "patch").unwrap();
    let patch = held(&hold, None);
    let middle = patch
        .nearest_vertex(DVec3::new(9.0, 7.0, 0.0), true)
        .unwrap();
    let runs = patch.runs(&BTreeSet::from([middle]), true);
    let mut counts: Vec<usize> = runs.iter().map(Run::count).collect();
    counts.sort_unstable();
    assert_eq!(counts, [2, 3, 5, 5, 5]);
    // A closed rim with one landing has no run from a vertex to itself.
    let runs = patch.runs(&BTreeSet::from([middle]), false);
    assert_eq!(runs.iter().map(Run::count).collect::<Vec<_>>(), [10, 10]);
}

#[test]
fn a_small_rest_within_is_taken_in() {
    let mesh = grid(0.0, 12, 12);
    let all: Vec<u32> = (0..144).filter(|q| ![65, 66, 77].contains(q)).collect();
    let edge = |q: &u32| {
        let (i, j) = (q / 12, q % 12);
        (1..11).contains(&i) && (1..11).contains(&j)
    };
    let mut mesh = mesh;
    mesh.groups = vec![mesh::Group {
        name: "middle".into(),
        quads: all.into_iter().filter(edge).collect(),
    }];
    let region = Region::Groups(vec!["middle".into()]);
    let hold = grow(&mesh, &region, None, "patch").unwrap();
    assert_eq!(hold.quads.len(), 100);
}

#[test]
fn the_course_of_a_guide_runs_along_edges() {
    let hold = grow(&grid(0.0, 20, 20), &around(9.5, 9.5, 2.3), None, "patch").unwrap();
    let patch = held(&hold, None);
    let line = [DVec3::new(6.9, 9.1, 0.0), DVec3::new(12.1, 9.1, 0.0)];
    let ends = line.map(|p| patch.nearest_vertex(p, true).unwrap());
    let course = patch.course(&line, &ends).unwrap();
    assert_eq!(course.vertices.len(), 6);
    assert!((course.off - 0.1).abs() < 0.05, "{}", course.off);
    // One that runs askew isn't followed.
    let askew = [DVec3::new(7.0, 7.5, 0.0), DVec3::new(12.0, 11.5, 0.0)];
    let ends = askew.map(|p| patch.nearest_vertex(p, true).unwrap());
    assert!(patch.course(&askew, &ends).unwrap().off > 0.25);
}

#[test]
fn neighbouring_holds_are_one_patch_and_damaged_ones_are_refused() {
    let mesh = grid(0.0, 20, 20);
    let one = grow(&mesh, &around(7.5, 9.5, 2.3), None, "one").unwrap();
    let two = grow(&mesh, &around(12.5, 9.5, 2.3), None, "two").unwrap();
    let both = Held::new(&[one.clone(), two], None).unwrap().unwrap();
    assert_eq!(both.mesh.quads.len(), 50);
    let total: usize = both
        .runs(&BTreeSet::new(), true)
        .iter()
        .map(Run::count)
        .sum();
    assert_eq!(total, 30);

    let apart = grow(&mesh, &around(12.5, 14.5, 2.3), None, "two").unwrap();
    assert!(matches!(
        Held::new(&[one.clone(), apart], None),
        Err(HoldError::Touches { .. })
    ));
    let mut bare = one.clone();
    bare.rim.clear();
    assert!(matches!(
        Held::new(&[bare], None),
        Err(HoldError::Everything { .. })
    ));
    let broken = |change: &dyn Fn(&mut Hold)| {
        let mut hold = one.clone();
        change(&mut hold);
        let error = Held::new(&[hold], None).unwrap_err();
        assert!(matches!(error, HoldError::Broken { .. }), "{error}");
        assert!(error.to_string().contains("hold 'one'"), "{error}");
    };
    broken(&|h| h.quads[0][0] = 999);
    broken(&|h| h.quads[0][0] = h.quads[0][1]);
    broken(&|h| h.quads[0].reverse());
    broken(&|h| h.quads.clear());
    broken(&|h| h.positions[0].x = f64::NAN);
    broken(&|h| h.rim[0][0] = 999);
    let behind = Held::new(
        &[one],
        Some(Plane {
            origin: DVec3::X * 9.0,
            normal: DVec3::X,
        }),
    );
    assert!(matches!(behind, Err(HoldError::BehindPlane { .. })));
}
