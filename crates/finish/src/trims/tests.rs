//! Trims on tubes whose offsets are known in closed form.

use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use base::{Findings, Level, Task};
use engine::check;
use engine::model::Plane;
use mesh::{DVec3, QuadMesh};
use proptest::prelude::*;

use super::*;

pub(crate) const X: Plane = Plane {
    origin: DVec3::ZERO,
    normal: DVec3::X,
};

/// A tube along −y that opens at y = 0: `radius` of its angle and depth. Vertices are their own
/// images about x = 0 to the bit where the radius is.
pub(crate) fn tube(
    around: u32,
    along: u32,
    step: f64,
    radius: impl Fn(f64, f64) -> f64,
) -> QuadMesh {
    let mut positions = Vec::new();
    for j in 0..=along {
        for i in 0..around {
            // From the front (+z) towards +x; the far side is the near one's image.
            let near = i.min(around - i);
            let angle = TAU * f64::from(near) / f64::from(around);
            let depth = f64::from(j) * step;
            let r = radius(angle, depth);
            let x = if near == 0 || 2 * near == around {
                0.0
            } else {
                r * angle.sin()
            };
            let x = if near == i { x } else { -x };
            positions.push(DVec3::new(x, depth, r * angle.cos()));
        }
    }
    let at = |i: u32, j: u32| j * around + i % around;
    let quads = (0..along)
        .flat_map(|j| {
            (0..around).map(move |i| [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)])
        })
        .collect();
    QuadMesh {
        positions,
        quads,
        groups: vec![],
    }
}

pub(crate) fn cuff(height: f64, thickness: f64) -> Trim {
    Trim {
        name: "left cuff".into(),
        kind: TrimKind::Cuff,
        guide: "left wrist".into(),
        height,
        thickness,
        flare_deg: 0.0,
        loops: 1,
        edge: Edge::Flat,
        front: Front::Closed,
        direction: Direction::Axis,
        side: Side::Beyond,
        follow: false,
        hard: None,
    }
}

pub(crate) fn placed(trim: Trim, around: u32) -> Placed {
    Placed {
        trim,
        run: (0..around).collect(),
        closed: true,
    }
}

pub(crate) fn woven(
    surface: &QuadMesh,
    plane: Option<Plane>,
    trims: &[Placed],
) -> Result<Trimmed, TrimError> {
    let input = TrimInput {
        surface,
        plane,
        sculpt: None,
    };
    run(&input, trims, &Task::default())
}

/// Volume under the quads of a mesh, as fans about quads' middles (divergence theorem).
pub(crate) fn volume(mesh: &QuadMesh, quads: &[u32]) -> f64 {
    let of = |&q: &u32| {
        let c = mesh.quads[q as usize].map(|v| mesh.positions[v as usize]);
        let m = mesh.centre(q as usize);
        let side = |i: usize| m.dot(c[i].cross(c[(i + 1) % 4])) / 6.0;
        (0..4).map(side).sum::<f64>()
    };
    quads.iter().map(of).sum()
}

/// The surface stays as it was, and all that is asked of trims holds.
pub(crate) fn sound(surface: &QuadMesh, trimmed: &Trimmed) {
    let fails: Vec<_> = trimmed
        .findings
        .iter()
        .filter(|f| f.level == Level::Fail)
        .collect();
    assert!(fails.is_empty(), "{fails:?}");
    let mesh = &trimmed.surface;
    assert_eq!(mesh.positions[..surface.positions.len()], surface.positions);
    assert_eq!(mesh.quads[..surface.quads.len()], surface.quads);
    let topology = mesh.topology();
    assert_eq!(topology.inconsistent_edges, 0);
    assert!(topology.face_count.iter().all(|&n| n <= 2));
}

pub(crate) fn value(findings: &Findings, code: &str) -> f64 {
    findings
        .iter()
        .find(|f| f.code == code)
        .and_then(|f| f.value)
        .unwrap()
}

/// A prism over a regular polygon: between walls T apart it holds height times the difference of
/// two polygons whose apothems differ by T (elementary geometry).
#[test]
fn a_cuff_on_a_cylinder_holds_what_the_closed_form_says() {
    let (n, r, h, t) = (12, 5.0, 3.0, 0.6);
    let surface = tube(n, 4, 2.0, |_, _| r);
    for plane in [None, Some(X)] {
        let trimmed = woven(&surface, plane, &[placed(cuff(h, t), n)]).unwrap();
        sound(&surface, &trimmed);
        let mesh = &trimmed.surface;
        assert_eq!(mesh.groups.len(), 1);
        assert_eq!(mesh.groups[0].name, "left_cuff");
        // Rows: middle, corner, edge; rim of three; inner wall of as many. 9 quads a column.
        assert_eq!(mesh.groups[0].quads.len(), 9 * n as usize);
        // The open end between the walls lies in y = 0, through the origin: it adds nothing.
        let half = PI / f64::from(n);
        let apothem = r * half.cos();
        let area = |a: f64| f64::from(n) * a * a * half.tan();
        let exact = h * (area(apothem) - area(apothem - t));
        let found = volume(mesh, &mesh.groups[0].quads);
        assert!((found / exact - 1.0).abs() < 1e-9, "{found} {exact}");
        let low = mesh.positions.iter().map(|p| p.y).fold(0.0, f64::min);
        assert!((low + h).abs() < 1e-12, "{low}");
        assert!(value(&trimmed.findings, "trim-thickness") > 0.999);
    }
}

/// A cone's wall leans by its half angle; its parallel wall is a cone T away along its normal.
#[test]
fn a_flared_cuff_is_a_cone_with_a_parallel_one_within() {
    let (n, r, h, t, flare) = (48, 5.0, 3.0, 0.4, 20.0f64);
    let surface = tube(n, 4, 2.0, |_, _| r);
    let trim = Trim {
        flare_deg: flare,
        ..cuff(h, t)
    };
    let trimmed = woven(&surface, Some(X), &[placed(trim, n)]).unwrap();
    sound(&surface, &trimmed);
    let (sin, cos) = flare.to_radians().sin_cos();
    // Chords of 48 pieces lie within 0.3 % of the circle.
    for p in &trimmed.surface.positions[surface.positions.len()..] {
        let radius = p.x.hypot(p.z);
        let gap = (r - p.y / cos * sin - radius) * cos;
        assert!((-0.01..t + 0.03).contains(&gap), "{p}: {gap}");
    }
    let low = trimmed
        .surface
        .positions
        .iter()
        .map(|p| p.y)
        .fold(0.0, f64::min);
    assert!((low + h * cos).abs() < 0.15, "{low}");
}

/// A tube of triangles from y = `low` up to 8, as a sculpt.
fn sculpted(low: f64, radius: impl Fn(f64) -> f64) -> Sculpt {
    let (around, along) = (240u32, 120u32);
    let place = |i: u32, j: u32| {
        let y = low + (8.0 - low) * f64::from(j) / f64::from(along);
        let (sin, cos) = (TAU * f64::from(i) / f64::from(around)).sin_cos();
        DVec3::new(radius(y) * sin, y, radius(y) * cos).as_vec3()
    };
    let at = |i: u32, j: u32| j * around + i % around;
    let mesh = Arc::new(mesh::TriMesh {
        positions: (0..=along)
            .flat_map(|j| (0..around).map(move |i| place(i, j)))
            .collect(),
        triangles: (0..along)
            .flat_map(|j| (0..around).map(move |i| (i, j)))
            .flat_map(|(i, j)| {
                let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
                [[a, b, c], [a, c, d]]
            })
            .collect(),
    });
    Sculpt {
        index: Arc::new(mesh::SurfaceIndex::new(Arc::clone(&mesh))),
        normals: Arc::new(Vec::new()),
        mesh,
    }
}

/// Beyond its opening the sculpt widens as a cone: the trim lies on it, as far as it goes.
#[test]
fn a_trim_follows_the_sculpt_where_it_goes_on() {
    let (n, r, h) = (24, 5.0, 3.0);
    let surface = tube(n, 4, 2.0, |_, _| r);
    let slope = 0.3;
    let cone = |y: f64| if y < 0.0 { r - slope * y } else { r };
    for (low, rows, says) in [
        (-5.0, 3, "follows the sculpt over its whole height"),
        (-2.2, 1, "follows the sculpt for 1 of its 3 rows"),
        (0.0, 0, "the sculpt doesn't go on there"),
    ] {
        let sculpt = sculpted(low, cone);
        let input = TrimInput {
            surface: &surface,
            plane: Some(X),
            sculpt: Some(&sculpt),
        };
        let trim = Trim {
            follow: true,
            ..cuff(h, 0.4)
        };
        let trimmed = run(&input, &[placed(trim, n)], &Task::default()).unwrap();
        sound(&surface, &trimmed);
        assert_eq!(value(&trimmed.findings, "trim-follows"), f64::from(rows));
        let told = trimmed.findings.iter().any(|f| f.sentence.contains(says));
        assert!(told, "{says}: {:?}", trimmed.findings);
        if rows == 3 {
            // Height is measured along the cone.
            let reach = h / (1.0f64 + slope * slope).sqrt();
            let new = &trimmed.surface.positions[surface.positions.len()..];
            let off = |p: &&DVec3| (p.x.hypot(p.z) - cone(p.y)).abs();
            let on: Vec<_> = new.iter().filter(|p| off(p) < 0.01).collect();
            assert_eq!(on.len(), 3 * n as usize);
            let low = on.iter().map(|p| p.y).fold(0.0, f64::min);
            assert!((low + reach).abs() < 0.02, "{low} {reach}");
        }
    }
}

/// A hem on a sphere: the inner wall lies on the sphere that is T smaller.
#[test]
fn a_hem_turned_in_on_a_sphere_lies_on_the_smaller_sphere() {
    let (n, r, t) = (48, 10.0, 0.5);
    // Latitudes from the equator up in steps of 3°, as rows of a tube.
    let mut surface = tube(n, 12, 1.0, |_, _| 1.0);
    for p in &mut surface.positions {
        let (sin, cos) = (p.y * 3.0f64.to_radians()).sin_cos();
        *p = DVec3::new(p.x * r * cos, r * sin, p.z * r * cos);
    }
    for edge in [Edge::Flat, Edge::Rounded] {
        let trim = Trim {
            kind: TrimKind::Hem,
            side: Side::Within,
            edge,
            ..cuff(2.0, t)
        };
        let trimmed = woven(&surface, Some(X), &[placed(trim, n)]).unwrap();
        sound(&surface, &trimmed);
        let new = &trimmed.surface.positions[surface.positions.len()..];
        let within: Vec<f64> = new
            .iter()
            .filter(|p| p.y > 0.3)
            .map(|p| p.length())
            .collect();
        assert!(within.len() >= 3 * n as usize, "{}", within.len());
        for length in within {
            assert!((length - (r - t)).abs() < 0.02, "{length}");
        }
        // The last row leans by 1.5°, so its rim does.
        assert!(new.iter().all(|p| p.y > -0.5 * t - 0.02));
        let deep = new
            .iter()
            .map(|p| p.y.atan2(p.x.hypot(p.z)))
            .fold(0.0, f64::max);
        assert!((deep * r - 2.0).abs() < 0.05, "{deep}");
    }
}

/// On a circle the greatest thickness is 0.8 times the radius, and what is beyond is refused with
/// that number.
#[test]
fn too_thick_is_refused_by_name_with_what_would_go() {
    let surface = tube(24, 4, 2.0, |_, _| 5.0);
    let ask = |t: f64| woven(&surface, Some(X), &[placed(cuff(3.0, t), 24)]);
    sound(&surface, &ask(3.9).unwrap());
    match ask(4.1).unwrap_err() {
        TrimError::TooThick {
            trim, radius, most, ..
        } => {
            assert_eq!(trim, "left cuff");
            assert!(
                (radius - 5.0).abs() < 0.05 && (most - 4.0).abs() < 0.04,
                "{radius} {most}"
            );
        }
        other => panic!("{other}"),
    }
    // A slot: its walls are 2 apart, so its local radius is 1 whatever its length.
    let mut slot = surface.clone();
    slot.positions.iter_mut().for_each(|p| p.z *= 0.2);
    let refused = woven(&slot, Some(X), &[placed(cuff(3.0, 0.9), 24)]).unwrap_err();
    assert!(
        matches!(refused, TrimError::TooThick { radius, .. } if radius <= 1.0),
        "{refused}"
    );
}

#[test]
fn a_gap_leaves_the_front_vertex_out_and_closes_both_ends() {
    let n = 24;
    let surface = tube(n, 4, 2.0, |_, _| 5.0);
    for (width, gone) in [(0.0, 1), (2.7, 3)] {
        let trim = Trim {
            kind: TrimKind::Collar,
            front: Front::Gap { width, at: None },
            edge: Edge::Rounded,
            ..cuff(3.0, 0.6)
        };
        let trimmed = woven(&surface, Some(X), &[placed(trim, n)]).unwrap();
        sound(&surface, &trimmed);
        let mesh = &trimmed.surface;
        // Columns of 2 + 4 + 2 quads; each end wall has 2 rows of 4.
        let columns = n as usize - gone - 1;
        assert_eq!(mesh.groups[0].quads.len(), 8 * columns + 2 * 8);
        // Nothing of it lies in the gap, which is at +z.
        // Columns are square to the wall, so a thicker wall is a shorter one: 4.4 of 5.
        let clear = (width / 2.0).max(1.29 * 4.4 / 5.0 - 0.01);
        for p in &mesh.positions[surface.positions.len()..] {
            assert!(p.z < 3.0 || p.x.abs() > clear, "{p}");
        }
        assert_eq!(mesh.topology().boundary_loops().len(), 2);
    }
    let trim = Trim {
        front: Front::Gap {
            width: 90.0,
            at: None,
        },
        ..cuff(3.0, 0.6)
    };
    let refused = woven(&surface, None, &[placed(trim.clone(), n)]).unwrap_err();
    assert!(matches!(refused, TrimError::NoFront { .. }), "{refused}");
    let refused = woven(&surface, Some(X), &[placed(trim, n)]).unwrap_err();
    assert!(matches!(refused, TrimError::AllGap { .. }), "{refused}");
}

/// One round of smoothing by Catmull & Clark (1978), boundaries as cubic curves.
fn smoothed(mesh: &QuadMesh) -> QuadMesh {
    let topology = mesh.topology();
    let (v, e) = (mesh.positions.len(), topology.edges.len());
    let at = |v: u32| mesh.positions[v as usize];
    let faces: Vec<DVec3> = (0..mesh.quads.len()).map(|q| mesh.centre(q)).collect();
    let mut edge_sum = vec![(DVec3::ZERO, 0u32); e];
    let mut face_sum = vec![(DVec3::ZERO, 0u32); v];
    for (q, quad) in mesh.quads.iter().enumerate() {
        for i in 0..4 {
            let edge = topology.edge_of_corner[4 * q + i] as usize;
            edge_sum[edge].0 += faces[q];
            edge_sum[edge].1 += 1;
            face_sum[quad[i] as usize].0 += faces[q];
            face_sum[quad[i] as usize].1 += 1;
        }
    }
    let middle = |k: usize| (at(topology.edges[k][0]) + at(topology.edges[k][1])) / 2.0;
    let edge = |k: usize| match edge_sum[k] {
        (sum, 2) => (2.0 * middle(k) + sum) / 4.0,
        _ => middle(k),
    };
    let mut middles = vec![(DVec3::ZERO, DVec3::ZERO, 0.0); v];
    for k in 0..e {
        for end in topology.edges[k] {
            let sums = &mut middles[end as usize];
            sums.0 += middle(k);
            if edge_sum[k].1 == 1 {
                sums.1 += middle(k);
            }
            sums.2 += 1.0;
        }
    }
    let place = |i: usize| {
        let p = mesh.positions[i];
        if topology.on_boundary[i] {
            return p / 2.0 + middles[i].1 / 4.0;
        }
        let n = f64::from(face_sum[i].1);
        (face_sum[i].0 / n + 2.0 * middles[i].0 / middles[i].2 + (n - 3.0) * p) / n
    };
    let mut positions: Vec<DVec3> = (0..v).map(place).collect();
    positions.extend((0..e).map(edge));
    positions.extend(&faces);
    let quads = mesh.quads.iter().enumerate().flat_map(|(q, quad)| {
        let of = |i: usize| (v as u32) + topology.edge_of_corner[4 * q + i % 4];
        let middle = (v + e + q) as u32;
        (0..4)
            .map(|i| [quad[i], of(i), middle, of(i + 3)])
            .collect::<Vec<_>>()
    });
    QuadMesh {
        quads: quads.collect(),
        positions,
        groups: vec![],
    }
}

/// Smoothing rounds a corner by as much as the loops beside it are away. Without them it would
/// take the edge back by some 0.17 of the last row (the curve of B-splines through three points).
#[test]
fn corner_loops_keep_a_flat_edge_when_the_mesh_is_smoothed() {
    let (n, h, t) = (24, 3.0, 0.6);
    let surface = tube(n, 4, 2.0, |_, _| 5.0);
    let trimmed = woven(&surface, None, &[placed(cuff(h, t), n)]).unwrap();
    let mut mesh = trimmed.surface;
    for _ in 0..3 {
        mesh = smoothed(&mesh);
    }
    let low = mesh.positions.iter().map(|p| p.y).fold(0.0, f64::min);
    assert!(low < -h + 0.05 * t, "the edge draws back to {low}");
    // A third of the rim is still flat: within 2 % of the thickness of the lowest.
    let flat: Vec<f64> = mesh
        .positions
        .iter()
        .filter(|p| p.y < low + 0.02 * t)
        .map(|p| p.x.hypot(p.z))
        .collect();
    let [least, most] = flat
        .iter()
        .fold([f64::MAX, 0.0], |[a, b], &r| [a.min(r), b.max(r)]);
    assert!(most - least > t / 3.0, "{least} to {most}");
}

#[test]
fn one_opening_takes_one_trim_and_an_image_may_be_named() {
    // Two tubes that are each other's image.
    let one = tube(12, 3, 2.0, |_, _| 3.0);
    let mut pair = one.clone();
    let shift = |p: &DVec3, by: f64| *p + DVec3::new(by, 0.0, 0.0);
    pair.positions = one.positions.iter().map(|p| shift(p, 8.0)).collect();
    let images: Vec<DVec3> = pair.positions.iter().map(|p| X.mirror(*p)).collect();
    let n = pair.positions.len() as u32;
    pair.positions.extend(images);
    let turned = |&[a, b, c, d]: &[u32; 4]| [a + n, d + n, c + n, b + n];
    pair.quads.extend(one.quads.iter().map(turned));
    let left = placed(cuff(2.0, 0.5), 12);
    let right = Placed {
        trim: Trim {
            name: "right cuff".into(),
            guide: "right wrist".into(),
            ..cuff(2.0, 0.5)
        },
        run: (n..n + 12).collect(),
        closed: true,
    };
    let both = woven(&pair, Some(X), &[left.clone(), right.clone()]).unwrap();
    sound(&pair, &both);
    let names: Vec<&str> = both
        .surface
        .groups
        .iter()
        .map(|g| g.name.as_str())
        .collect();
    assert_eq!(names, ["left_cuff", "right_cuff"]);
    for (group, sign) in both.surface.groups.iter().zip([1.0, -1.0]) {
        assert_eq!(group.quads.len(), 9 * 12);
        assert!(
            group
                .quads
                .iter()
                .all(|&q| both.surface.centre(q as usize).x * sign > 0.0)
        );
    }
    let alone = woven(&pair, Some(X), std::slice::from_ref(&left)).unwrap();
    assert_eq!(alone.surface.quads, both.surface.quads);
    let mut other = right;
    other.trim.thickness = 0.4;
    let refused = woven(&pair, Some(X), &[left.clone(), other]).unwrap_err();
    assert!(matches!(refused, TrimError::Twice { .. }), "{refused}");
    let refused = woven(&pair, Some(X), &[left.clone(), left]).unwrap_err();
    assert!(matches!(refused, TrimError::Twice { .. }), "{refused}");
}

/// About a slanted plane images are the kept side's, to the bit; the plane's vertices stay on it.
#[test]
fn a_slanted_plane_is_as_good_as_a_coordinate_one() {
    let turn = glam::DQuat::from_axis_angle(DVec3::new(1.0, 2.0, 3.0).normalize(), 0.7);
    let origin = DVec3::new(3.1, -2.3, 0.7);
    let plane = Plane {
        origin,
        normal: (turn * DVec3::X).normalize(),
    };
    let n = 16;
    let mut surface = tube(n, 4, 2.0, |_, _| 5.0);
    for p in &mut surface.positions {
        *p = match p.x {
            0.0 => plane.project(origin + turn * *p),
            x if x > 0.0 => origin + turn * *p,
            _ => plane.mirror(origin + turn * X.mirror(*p)),
        };
    }
    let trim = Trim {
        front: Front::Gap {
            width: 0.0,
            at: Some(origin + turn * (5.0 * DVec3::Z)),
        },
        ..cuff(3.0, 0.6)
    };
    let trimmed = woven(&surface, Some(plane), &[placed(trim, n)]).unwrap();
    sound(&surface, &trimmed);
    let codes: Vec<&str> = trimmed.findings.iter().map(|f| f.code.as_str()).collect();
    assert!(codes.contains(&"trim-mirror"), "{codes:?}");
}

#[test]
fn a_ring_inside_the_surface_is_no_opening() {
    let surface = tube(12, 4, 2.0, |_, _| 5.0);
    let mut at = placed(cuff(2.0, 0.5), 12);
    at.run = (24..36).collect();
    let refused = woven(&surface, None, &[at]).unwrap_err();
    assert!(
        matches!(refused, TrimError::NotAnOpening { .. }),
        "{refused}"
    );
}

#[test]
fn a_hem_deeper_than_rows_go_is_refused_with_how_deep_they_go() {
    let surface = tube(12, 3, 2.0, |_, _| 5.0);
    let trim = Trim {
        side: Side::Within,
        ..cuff(7.0, 0.5)
    };
    match woven(&surface, None, &[placed(trim, 12)]).unwrap_err() {
        TrimError::TooDeep { most, .. } => assert!((most - 6.0).abs() < 1e-9, "{most}"),
        other => panic!("{other}"),
    }
}

/// The check of thickness finds walls that aren't parallel: it doesn't know how they were made.
#[test]
fn thickness_is_measured_not_believed() {
    let n = 24;
    let surface = tube(n, 4, 2.0, |_, _| 5.0);
    let trims = [placed(cuff(3.0, 0.6), n)];
    let input = TrimInput {
        surface: &surface,
        plane: None,
        sculpt: None,
    };
    let mut made = tries::all(&input, &trims, &Task::default()).unwrap();
    let walls = made.made[0].1.clone();
    let before = findings::thickness(&made.mesh, 0.6, &walls, None);
    assert!(before.share > 0.999 && before.facing == 1.0);
    // The inner wall drawn in by a tenth of the thickness.
    let mut moved: Vec<u32> = walls
        .inner
        .iter()
        .flat_map(|&q| made.mesh.quads[q as usize])
        .collect();
    moved.sort_unstable();
    moved.dedup();
    for v in moved {
        let p = &mut made.mesh.positions[v as usize];
        let radius = p.x.hypot(p.z);
        *p -= DVec3::new(p.x, 0.0, p.z) * (0.06 / radius);
    }
    let after = findings::thickness(&made.mesh, 0.6, &walls, None);
    assert!(after.share < 0.1, "{}", after.share);
    // The walls turned over.
    for quad in &mut made.mesh.quads {
        quad.reverse();
    }
    assert!(findings::thickness(&made.mesh, 0.6, &walls, None).facing < 0.01);
}

fn trims() -> impl Strategy<Value = (u32, f64, f64, u32, f64, Trim, bool)> {
    let form = (
        0u32..3,
        prop::bool::ANY,
        prop::bool::ANY,
        -10.0..20.0f64,
        0u32..3,
    );
    (
        4u32..14,
        1.0..20.0f64,
        0.0..0.06f64,
        2u32..5,
        0.02..0.75f64,
        form,
        0.2..2.0f64,
    )
        .prop_map(
            |(half, radius, noise, waves, share, (loops, flat, within, flare, gap), tall)| {
                let side = if within { Side::Within } else { Side::Beyond };
                let at = Some(DVec3::new(0.0, 0.0, radius));
                let front = match gap {
                    1 if !within => Front::Gap { width: 0.0, at },
                    2 if !within => Front::Overlap {
                        width: 0.0,
                        at,
                        lap: share * radius,
                        upper: if flat { End::Left } else { End::Right },
                    },
                    _ => Front::Closed,
                };
                let trim = Trim {
                    flare_deg: flare,
                    loops,
                    edge: if flat { Edge::Flat } else { Edge::Rounded },
                    side,
                    front,
                    ..cuff(tall * radius, share * radius)
                };
                (2 * half, radius, noise, waves, tall, trim, within)
            },
        )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]
    /// On waving tubes every trim is sound and as thick as asked, or refused for its thickness; a
    /// thickness of less than 0.8 times the least radius there can be is never refused for that.
    #[test]
    fn trims_on_random_tubes_are_sound((around, radius, noise, waves, tall, trim, within) in trims(), mirrored in prop::bool::ANY) {
        let step = 0.6 * radius;
        let along = (tall / 0.6).ceil() as u32 + 3;
        let wave = |angle: f64, depth: f64| {
            radius * (1.0 + noise * (f64::from(waves) * angle).cos() * (1.0 + 0.2 * (depth / radius).sin()))
        };
        let surface = tube(around, along, step, wave);
        let plane = mirrored.then_some(X);
        match woven(&surface, plane, &[placed(trim.clone(), around)]) {
            Ok(trimmed) => {
                sound(&surface, &trimmed);
                let found = check::crossings(&trimmed.surface).unwrap();
                prop_assert!(found.is_empty());
            }
            Err(TrimError::TooThick { radius: found, most, .. }) => {
                prop_assert!(trim.thickness > most);
                prop_assert!(found < radius * 1.1);
            }
            // As thick as half of the gap's two chords at its narrowest.
            Err(TrimError::LapTooSteep { width, least, .. }) => {
                prop_assert!(trim.thickness > 0.5 * width && least > width);
            }
            Err(TrimError::LapTooLong { most, .. }) => {
                let asked = matches!(trim.front, Front::Overlap { lap, .. } if lap > most);
                prop_assert!(asked, "{most}");
            }
            // Flared inward, or turned in deep, a thick wall may meet itself elsewhere.
            // So may the lap of cloth thicker than 0.4 of the radius, for want of room to rise.
            Err(TrimError::Crosses { .. }) => {
                let laps = matches!(trim.front, Front::Overlap { .. });
                let thick = laps && trim.thickness > 0.4 * radius;
                prop_assert!(trim.flare_deg < 0.0 || within || thick);
            }
            Err(other) => prop_assert!(false, "{other}"),
        }
    }
}
