use super::fixtures::sculpt_of;
use super::*;
use mesh::Vec3;

/// An ellipsoid of unequal half-axes 3, 2, 1.5, moved and turned about z.
fn egg(turn: f64, shift: DVec3) -> Sculpt {
    let (rows, columns) = (24u32, 48u32);
    let mut mesh = TriMesh::default();
    for j in 0..=rows {
        for i in 0..columns {
            let (lat, lon) = (
                f64::from(j) / f64::from(rows) * std::f64::consts::PI,
                (f64::from(i) + 0.3) / f64::from(columns) * std::f64::consts::TAU,
            );
            let p = DVec3::new(
                3.0 * lat.sin() * lon.cos(),
                2.0 * lat.sin() * lon.sin(),
                1.5 * lat.cos(),
            );
            // One more bump in z, so that only two mirror planes remain.
            let p = p + DVec3::Z * 0.1 * p.x * p.x;
            let turned = DVec3::new(
                p.x * turn.cos() - p.y * turn.sin(),
                p.x * turn.sin() + p.y * turn.cos(),
                p.z,
            );
            mesh.positions.push((turned + shift).as_vec3());
        }
    }
    for j in 0..rows {
        for i in 0..columns {
            let at = |i: u32, j: u32| j * columns + i % columns;
            let (a, b, c, d) = (at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j));
            mesh.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    sculpt_of(mesh)
}

#[test]
fn a_cut_is_exactly_on_the_plane_and_halves_the_area() {
    let sculpt = egg(0.0, DVec3::ZERO);
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::Y,
    };
    let (half, findings) = run(&sculpt, PlaneChoice::Given(plane), &Task::default()).unwrap();
    assert!(findings.is_ready());
    assert!((half.mesh.area() / sculpt.mesh.area() - 0.5).abs() < 1e-3);
    assert!(half.mesh.positions.iter().all(|p| p.y >= 0.0));
    let loops = boundary_loops(&half.mesh);
    assert_eq!(loops.len(), 1);
    assert!(
        loops[0]
            .iter()
            .all(|&v| half.on_plane[v as usize] && half.mesh.positions[v as usize].y == 0.0)
    );
    assert_eq!(
        half.on_plane.iter().filter(|&&on| on).count(),
        loops[0].len()
    );
}

#[test]
fn a_turned_plane_is_found() {
    let (turn, shift) = (0.4f64, DVec3::new(5.0, -3.0, 2.0));
    let sculpt = egg(turn, shift);
    let (half, _) = run(&sculpt, PlaneChoice::Find, &Task::default()).unwrap();
    let plane = half.plane.unwrap();
    let [x, y] = [
        DVec3::new(turn.cos(), turn.sin(), 0.0),
        DVec3::new(-turn.sin(), turn.cos(), 0.0),
    ];
    let agreement = plane.normal.dot(x).abs().max(plane.normal.dot(y).abs());
    assert!(agreement > 0.9999, "{plane:?}");
    assert!(plane.height(shift).abs() < 0.02, "{plane:?}");
}

#[test]
fn a_lopsided_thing_has_no_plane() {
    let mut mesh = egg(0.3, DVec3::ZERO).mesh.as_ref().clone();
    for p in &mut mesh.positions {
        let twist = p.x * 0.9;
        let (y, z) = (
            p.y * twist.cos() - p.z * twist.sin(),
            p.y * twist.sin() + p.z * twist.cos(),
        );
        *p = Vec3::new(p.x + 0.4 * y * y, y, z + 0.3 * p.x * y);
    }
    let refused = run(&sculpt_of(mesh), PlaneChoice::Find, &Task::default());
    assert!(
        matches!(refused, Err(SymmetryError::NoPlane { .. })),
        "{refused:?}"
    );
}

#[test]
fn planes_that_cannot_be_used_are_refused() {
    let sculpt = egg(0.0, DVec3::ZERO);
    let flat = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::ZERO,
    };
    let given = |plane| run(&sculpt, PlaneChoice::Given(plane), &Task::default());
    assert!(matches!(given(flat), Err(SymmetryError::BadPlane)));
    let far = Plane {
        origin: DVec3::X * 9.0,
        normal: DVec3::X,
    };
    assert!(matches!(
        given(far),
        Err(SymmetryError::NothingInFront { .. })
    ));
    let empty = sculpt_of(TriMesh::default());
    assert!(matches!(
        run(&empty, PlaneChoice::None, &Task::default()),
        Err(SymmetryError::Empty)
    ));
    let task = Task::default();
    task.cancel();
    assert!(matches!(
        run(&sculpt, PlaneChoice::Find, &task),
        Err(SymmetryError::Cancelled(_))
    ));
}

#[test]
fn openings_that_one_side_alone_has_are_told() {
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    };
    let told = |mesh: TriMesh| {
        let (_, findings) = run(
            &sculpt_of(mesh),
            PlaneChoice::Given(plane),
            &Task::default(),
        )
        .unwrap();
        let told = findings.iter().find(|f| f.code == "unlike-openings");
        told.map(|f| f.sentence.clone())
    };
    let mesh = super::fixtures::tube(60, 40).mesh.as_ref().clone();
    assert_eq!(told(mesh.clone()), None);
    let mut holed = mesh;
    let (x, half) = (0.9, 2.0);
    let inside = |mesh: &TriMesh, t: &[u32; 3]| {
        t.iter().any(|&v| {
            let p = mesh.positions[v as usize];
            f64::from(p.x) > x && (f64::from(p.y) - half).abs() < 0.3
        })
    };
    let kept = holed.triangles.iter().filter(|t| !inside(&holed, t));
    holed.triangles = kept.copied().collect();
    let sentence = told(holed).unwrap();
    assert!(
        sentence.contains("one opening before the mirror plane and no opening behind it"),
        "{sentence}"
    );
}
