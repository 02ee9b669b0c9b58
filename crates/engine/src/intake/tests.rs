use std::f64::consts::{PI, TAU};

use mesh::TriTopology;
use proptest::prelude::*;

use super::*;

/// A grid of triangles over two angles, closed around the first.
fn lathe(around: u32, along: u32, place: impl Fn(f64, f64) -> DVec3) -> RawTriangles {
    let at = |i: u32, j: u32| j * around + i % around;
    let mut raw = RawTriangles::default();
    for j in 0..=along {
        for i in 0..around {
            let (u, v) = (
                f64::from(i) / f64::from(around),
                f64::from(j) / f64::from(along),
            );
            raw.positions.push(place(u * TAU, v).as_vec3());
        }
    }
    for j in 0..along {
        for i in 0..around {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            raw.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    raw
}

/// Unit-radius tube, two high, open at both ends, facing out.
fn tube(around: u32, along: u32) -> RawTriangles {
    lathe(around, along, |a, v| DVec3::new(a.cos(), a.sin(), 2.0 * v))
}

/// Unit sphere with pole triangles of no area, as spreadsheets of angles give it.
fn sphere(around: u32, along: u32) -> RawTriangles {
    lathe(around, along, |a, v| {
        let polar = PI * (1.0 - v);
        DVec3::new(polar.sin() * a.cos(), polar.sin() * a.sin(), polar.cos())
    })
}

fn take(raw: &RawTriangles) -> (Sculpt, IntakeReport) {
    run(raw, &IntakeOptions::default(), &Task::default()).unwrap()
}

fn name(name: &str, triangles: Range<u32>) -> RawPart {
    RawPart {
        name: name.to_owned(),
        triangles: [triangles].to_vec(),
    }
}

fn topology(sculpt: &Sculpt) -> TriTopology {
    TriTopology::new(sculpt.mesh.positions.len(), &sculpt.mesh.triangles).unwrap()
}

fn volume(mesh: &TriMesh) -> f64 {
    let six = |t| {
        let [a, b, c] = mesh.corners(t);
        a.dot(b.cross(c))
    };
    (0..mesh.triangles.len()).map(six).sum::<f64>() / 6.0
}

#[test]
fn a_sound_tube_passes_untouched() {
    let raw = tube(40, 20);
    let (sculpt, report) = take(&raw);
    assert_eq!(sculpt.mesh.positions, raw.positions);
    assert_eq!(sculpt.mesh.triangles, raw.triangles);
    assert_eq!((report.openings, report.pieces), (2, 1));
    assert_eq!(report.findings, base::Findings::default());
}

#[test]
fn a_soup_of_triangles_becomes_a_closed_sphere_of_the_right_size() {
    // 4πr² and 4/3·πr³ (handbook mensuration); chords of 1.8° lose about 1e-3 of either.
    let raw = sphere(200, 100);
    let mut soup = RawTriangles::default();
    for corners in &raw.triangles {
        let n = soup.positions.len() as u32;
        soup.positions
            .extend(corners.map(|v| raw.positions[v as usize]));
        soup.triangles.push([n, n + 1, n + 2]);
    }
    let (sculpt, report) = take(&soup);
    assert_eq!(report.zero_area, 2 * 200);
    assert_eq!(report.vertices, 200 * 99 + 2);
    assert_eq!(report.openings, 0);
    assert!((sculpt.mesh.area() / (4.0 * PI) - 1.0).abs() < 1e-3);
    assert!((volume(&sculpt.mesh) / (4.0 / 3.0 * PI) - 1.0).abs() < 1e-3);
    topology(&sculpt);
}

#[test]
fn inward_spheres_are_turned_and_mixed_windings_agree() {
    let mut raw = sphere(40, 20);
    raw.triangles.iter_mut().for_each(|t| t.reverse());
    for t in [100, 101, 102, 500, 700] {
        raw.triangles[t].reverse();
    }
    let (sculpt, report) = take(&raw);
    assert!(volume(&sculpt.mesh) > 4.0);
    let sound = raw.triangles.len() - report.zero_area;
    assert_eq!(report.turned, sound - 5);
    topology(&sculpt);
}

#[test]
fn an_open_surface_keeps_its_majority_and_is_called_inside_out() {
    let mut raw = tube(40, 20);
    raw.triangles.iter_mut().for_each(|t| t.reverse());
    raw.triangles[300].reverse();
    let (_, report) = take(&raw);
    assert_eq!(report.turned, 1);
    assert!(report.findings.iter().any(|f| f.code == "inside-out"));
}

#[test]
fn flaps_go_and_their_edges_heal() {
    let mut raw = tube(60, 40);
    let [a, b, _] = raw.triangles[2000];
    raw.positions.push(Vec3::new(0.0, 0.0, 9.0));
    raw.triangles.push([a, b, raw.positions.len() as u32 - 1]);
    let (sculpt, report) = take(&raw);
    assert_eq!((report.flaps, report.nonmanifold_edges), (1, 1));
    assert_eq!(
        sculpt.mesh.triangles,
        raw.triangles[..raw.triangles.len() - 1]
    );
}

#[test]
fn a_pinhole_is_filled_and_an_opening_is_not() {
    let mut raw = tube(320, 160);
    raw.triangles.remove(50_001);
    let (sculpt, report) = take(&raw);
    assert_eq!((report.holes_filled, report.openings), (1, 2));
    assert_eq!(report.triangles, 320 * 160 * 2);
    topology(&sculpt);
    let options = IntakeOptions {
        fill_holes: false,
        ..IntakeOptions::default()
    };
    let (_, report) = run(&raw, &options, &Task::default()).unwrap();
    assert_eq!((report.holes_filled, report.holes_left), (0, 1));
    let at = tube(320, 160).triangles[50_001][0] as usize;
    let options = IntakeOptions {
        keep_open: vec![raw.positions[at].as_dvec3()],
        ..IntakeOptions::default()
    };
    let (_, report) = run(&raw, &options, &Task::default()).unwrap();
    assert_eq!((report.holes_filled, report.openings), (0, 3));
}

#[test]
fn a_flat_triangle_leaves_no_slit() {
    let mut raw = tube(40, 20);
    // Split one edge at its middle on one side only, and fill the slit with a flat triangle.
    let [a, b, c] = raw.triangles[801];
    let middle = (raw.positions[a as usize] + raw.positions[b as usize]) / 2.0;
    let m = raw.positions.len() as u32;
    raw.positions.push(middle);
    raw.triangles[801] = [m, b, c];
    raw.triangles.extend([[a, m, c], [a, b, m]]);
    let (sculpt, report) = take(&raw);
    assert_eq!(
        (report.zero_area, report.openings, report.holes_filled),
        (1, 2, 0)
    );
    let least = (0..report.triangles).map(|t| sculpt.mesh.area_normal(t).length());
    assert!(least.fold(f64::INFINITY, f64::min) > 1e-4);
    topology(&sculpt);
}

#[test]
fn parts_are_chosen_by_name_and_unknown_names_are_refused() {
    let mut raw = tube(40, 20);
    let first = raw.triangles.len() as u32;
    let ball = sphere(20, 10);
    let shift = raw.positions.len() as u32;
    raw.positions
        .extend(ball.positions.iter().map(|p| *p * 0.5 + Vec3::X * 4.0));
    raw.triangles
        .extend(ball.triangles.iter().map(|t| t.map(|v| v + shift)));
    raw.parts = vec![
        name("sleeve", 0..first),
        name("button", first..raw.triangles.len() as u32),
    ];
    let (sculpt, report) = take(&raw);
    assert_eq!(
        (sculpt.mesh.triangles.len(), report.pieces_left_out),
        (first as usize, 1)
    );
    assert!(
        report
            .findings
            .iter()
            .any(|f| f.code == "pieces-left-out" && f.level == Level::Warn)
    );
    let of = |part: &str| IntakeOptions {
        part: Some(Part::Named(part.to_owned())),
        ..IntakeOptions::default()
    };
    let (button, _) = run(&raw, &of("button"), &Task::default()).unwrap();
    assert!(volume(&button.mesh) > 0.4);
    let error = run(&raw, &of("collar"), &Task::default()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the sculpt has no part called 'collar'; it has 'button', 'sleeve'"
    );
    raw.parts.push(name("hem", 5..u32::MAX));
    let error = run(&raw, &of("hem"), &Task::default()).unwrap_err();
    assert!(matches!(error, IntakeError::BadPart { .. }));
}

#[test]
fn unusable_input_is_refused_by_name() {
    let fails =
        |raw: &RawTriangles| run(raw, &IntakeOptions::default(), &Task::default()).unwrap_err();
    assert_eq!(fails(&RawTriangles::default()), IntakeError::Empty);
    let mut raw = tube(6, 2);
    raw.triangles[3][1] = 99;
    assert!(matches!(
        fails(&raw),
        IntakeError::BadIndex {
            triangle: 3,
            vertex: 99,
            ..
        }
    ));
    let mut raw = tube(6, 2);
    raw.positions[4].y = f32::NAN;
    assert_eq!(
        fails(&raw),
        IntakeError::NotFinite {
            first: 4,
            others: 0
        }
    );
    let mut raw = tube(6, 2);
    raw.positions.fill(Vec3::ONE);
    assert_eq!(fails(&raw), IntakeError::NoArea);
    let task = Task::default();
    task.cancel();
    let stopped = run(&tube(6, 2), &IntakeOptions::default(), &task).unwrap_err();
    assert!(matches!(stopped, IntakeError::Cancelled(_)));
}

#[test]
fn touching_boxes_are_parted_at_their_common_edge() {
    // Two boxes that share one edge: four triangles meet there.
    let mut raw = RawTriangles::default();
    for shift in [Vec3::ZERO, Vec3::new(1.0, 1.0, 0.0)] {
        let n = raw.positions.len() as u32;
        for k in 0..8u32 {
            let bit = |b: u32| ((k >> b) & 1) as f32;
            raw.positions
                .push(Vec3::new(bit(0), bit(1), bit(2)) + shift);
        }
        let sides = [
            [0, 2, 3, 1],
            [4, 5, 7, 6],
            [0, 1, 5, 4],
            [2, 6, 7, 3],
            [0, 4, 6, 2],
            [1, 3, 7, 5],
        ];
        for [a, b, c, d] in sides.map(|s: [u32; 4]| s.map(|v| v + n)) {
            raw.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    raw.parts = vec![name("crates", 0..24)];
    let options = IntakeOptions {
        part: Some(Part::Named("crates".to_owned())),
        ..IntakeOptions::default()
    };
    let (sculpt, report) = run(&raw, &options, &Task::default()).unwrap();
    assert_eq!(report.nonmanifold_edges, 1);
    assert_eq!(sculpt.mesh.triangles.len(), 24);
    assert!((volume(&sculpt.mesh) - 2.0).abs() < 1e-9);
    let links = topology(&sculpt);
    assert!((0..72).all(|h| links.twin(h).is_some()));
}

#[test]
fn a_moebius_strip_is_cut_into_a_two_sided_one() {
    let n = 30u32;
    let mut raw = RawTriangles::default();
    for i in 0..n {
        let a = f64::from(i) / f64::from(n) * TAU;
        for side in [-0.4, 0.4] {
            let r = 2.0 + side * (a / 2.0).cos();
            let p = DVec3::new(r * a.cos(), r * a.sin(), side * (a / 2.0).sin());
            raw.positions.push(p.as_vec3());
        }
    }
    for i in 0..n {
        let (a, b) = (2 * i, 2 * i + 1);
        let (c, d) = if i + 1 < n { (a + 2, b + 2) } else { (1, 0) };
        raw.triangles.extend([[a, c, b], [b, c, d]]);
    }
    let (sculpt, report) = take(&raw);
    assert_eq!(report.twists, 1);
    assert_eq!(report.vertices, 2 * n as usize + 2);
    topology(&sculpt);
}

proptest! {
    /// Whatever the triangles, what comes out is an oriented manifold, and taking it in again
    /// finds nothing to part.
    #[test]
    fn any_soup_becomes_a_manifold(
        points in prop::collection::vec((-4i8..4, -4i8..4, -4i8..4), 3..14),
        corners in prop::collection::vec((0usize..14, 0usize..14, 0usize..14), 1..60),
        named in any::<bool>(),
    ) {
        let positions: Vec<Vec3> = points
            .iter()
            .map(|&(x, y, z)| Vec3::new(f32::from(x), f32::from(y), f32::from(z)))
            .collect();
        let n = positions.len();
        let triangles: Vec<[u32; 3]> = corners
            .iter()
            .map(|&(a, b, c)| [a % n, b % n, c % n].map(|v| v as u32))
            .collect();
        let all = name("all", 0..triangles.len() as u32);
        let raw = RawTriangles { positions, triangles, parts: vec![all] };
        let part = named.then(|| Part::Named("all".to_owned()));
        let options = IntakeOptions { part, ..IntakeOptions::default() };
        match run(&raw, &options, &Task::default()) {
            Ok((sculpt, report)) => {
                let links = TriTopology::new(sculpt.mesh.positions.len(), &sculpt.mesh.triangles);
                prop_assert!(links.is_ok(), "{:?}", links.err());
                prop_assert_eq!(sculpt.mesh.triangles.len(), report.triangles);
                prop_assert_eq!(sculpt.normals.len(), report.vertices);
            }
            Err(error) => prop_assert_eq!(error, IntakeError::NoArea),
        }
    }
}
