//! Layers under a surface with trims, and under one whose push would fold.

use std::f64::consts::TAU;

use base::Level;
use engine::check;
use engine::model::Plane;
use mesh::{DVec3, QuadMesh, TriMesh};

use super::contact::Body;
use super::mend::Shape;
use super::pushing::Pushing;
use super::tests::{Numbers, blown_cube, brute, cleared, triangles_of, tube};
use super::*;
use crate::trims::{self, Direction, Edge, Front, Placed, Trim, TrimInput, TrimKind, Trimmed};

const X: Plane = Plane {
    origin: DVec3::ZERO,
    normal: DVec3::X,
};

/// A sleeve along y that opens at y = 0, each half the other's image about x = 0 to the bit.
fn sleeve(around: u32, along: u32, step: f64, radius: impl Fn(f64, f64) -> f64) -> QuadMesh {
    let place = |depth: f64, near: u32, sign: f64| {
        let angle = TAU * f64::from(near) / f64::from(around);
        let r = radius(angle, depth);
        let on = near == 0 || 2 * near == around;
        let x = if on { 0.0 } else { sign * r * angle.sin() };
        DVec3::new(x, depth, r * angle.cos())
    };
    let share = |v: f64| (v * f64::from(around)).round() as u32;
    let turned = |u: f64, v: f64| {
        let i = share(v);
        let near = i.min(around - i);
        place(
            u * step * f64::from(along),
            near,
            if near == i { 1.0 } else { -1.0 },
        )
    };
    let mut mesh = tube(along, around, turned);
    // Facing out.
    let [a, b, c, _] = mesh.quads[0].map(|v| mesh.positions[v as usize]);
    if (b - a).cross(c - a).dot(a * DVec3::new(1.0, 0.0, 1.0)) < 0.0 {
        mesh.quads.iter_mut().for_each(|q| q.reverse());
    }
    mesh
}

fn trim(height: f64, thickness: f64, side: trims::Side) -> Trim {
    Trim {
        name: "cuff".into(),
        kind: TrimKind::Cuff,
        guide: "wrist".into(),
        height,
        thickness,
        flare_deg: 0.0,
        loops: 1,
        edge: Edge::Flat,
        front: Front::Closed,
        direction: Direction::Axis,
        side,
        follow: false,
        hard: None,
    }
}

fn dressed(surface: &QuadMesh, plane: Option<Plane>, trim: Trim, around: u32) -> Trimmed {
    let row = if trim.side == trims::Side::Upon { 4 } else { 0 };
    let placed = Placed {
        trim,
        run: (row * around..(row + 1) * around).collect(),
        closed: true,
    };
    let input = TrimInput {
        surface,
        plane,
        sculpt: None,
    };
    trims::run(&input, &[placed], &Task::default()).unwrap()
}

/// Clears a surface with trims, and measures the trims where they end.
fn worn(trimmed: &Trimmed, layer: &Layer, plane: Option<Plane>) -> (Cleared, Trimmed) {
    let follow = |moved: &[DVec3]| trimmed.relaid(moved);
    let frame = Frame {
        plane,
        tied: trimmed.tied(),
        follow: Some(&follow),
        ..Frame::default()
    };
    let out = cleared(&trimmed.surface, layer, &frame);
    let at = trimmed.at(out.positions.clone(), &Task::default()).unwrap();
    (out, at)
}

fn fails(findings: &Findings) -> Vec<String> {
    let failed = findings.iter().filter(|f| f.level == Level::Fail);
    failed.map(|f| f.sentence.clone()).collect()
}

/// A limb that goes on beyond the sleeve at both ends: `radius` of angle and depth.
fn limb(low: f64, high: f64, radius: impl Fn(f64, f64) -> f64) -> TriMesh {
    let put = |u: f64, v: f64| {
        let (y, angle) = (low + (high - low) * u, TAU * v);
        DVec3::new(
            radius(angle, y) * angle.sin(),
            y,
            radius(angle, y) * angle.cos(),
        )
    };
    let mut mesh = triangles_of(&tube(120, 90, put));
    if mesh
        .area_normal(0)
        .dot(mesh.corners(0)[0] * DVec3::new(1.0, 0.0, 1.0))
        < 0.0
    {
        mesh.triangles.iter_mut().for_each(|t| t.swap(1, 2));
    }
    mesh
}

#[test]
fn walls_of_a_cuff_stay_parallel_when_a_limb_pushes_it() {
    let around = 24;
    let surface = sleeve(around, 8, 1.0, |_, _| 5.0);
    for side in [trims::Side::Beyond, trims::Side::Within] {
        for plane in [None, Some(X)] {
            let trimmed = dressed(&surface, plane, trim(3.0, 0.6, side), around);
            // A swelling right at the opening, more than inner wall and sleeve leave room for.
            let swelling =
                |angle: f64, y: f64| 4.0 + 1.2 * (-(angle - 1.5).powi(2) - (y / 2.0).powi(2)).exp();
            let body = limb(-6.0, 12.0, swelling);
            let layer = Layer::new("arm", &body, Side::Under, 0.2);
            let at = worn_clear(&trimmed, &layer, &body, plane);
            // The push reached the trim.
            let own = surface.positions.len();
            let moved = at.surface.positions[own..]
                .iter()
                .zip(&trimmed.surface.positions[own..])
                .filter(|(a, b)| a.distance(**b) > 0.2);
            assert!(moved.count() > 8);
        }
    }
}

/// A lap moves with the cloth that it lies on, whose two sides stay each other's image.
#[test]
fn a_lap_stays_on_its_cloth_when_a_limb_pushes_it() {
    let around = 24;
    let surface = sleeve(around, 8, 1.0, |_, _| 5.0);
    for (upper, bulge) in [(trims::End::Left, 0.0), (trims::End::Right, 0.7)] {
        let mut overlaps = trim(3.0, 0.4, trims::Side::Beyond);
        overlaps.front = Front::Overlap {
            width: 0.0,
            at: None,
            lap: 1.6,
            upper,
        };
        let trimmed = dressed(&surface, Some(X), overlaps, around);
        assert!(!trimmed.unpaired().is_empty());
        // A swelling at the front, or beside it.
        let swelling = |angle: f64, y: f64| {
            let off = (angle - bulge + 3.0).rem_euclid(TAU) - 3.0;
            4.0 + 1.2 * (-off.powi(2) - (y / 2.0).powi(2)).exp()
        };
        let body = limb(-6.0, 12.0, swelling);
        let layer = Layer::new("arm", &body, Side::Under, 0.2);
        let at = worn_clear(&trimmed, &layer, &body, Some(X));
        let lap = &at.surface.groups[1];
        let vertices = lap.quads.iter().flat_map(|&q| at.surface.quads[q as usize]);
        let moved = vertices.filter(|&v| {
            let [to, from] = [&at, &trimmed].map(|t| t.surface.positions[v as usize]);
            to.distance(from) > 0.2
        });
        assert!(moved.count() > 8);
    }
}

/// What is worn over or under a body that was in its way: clear of it, by brute force as well, whole,
/// and without a failing finding.
fn worn_clear(trimmed: &Trimmed, layer: &Layer, body: &TriMesh, plane: Option<Plane>) -> Trimmed {
    let (out, at) = worn(trimmed, layer, plane);
    assert!(!out.before[0].is_clear() && out.after[0].is_clear());
    assert!(out.folded.is_empty() && out.cuts.is_empty());
    assert!(fails(&at.findings).is_empty(), "{:?}", fails(&at.findings));
    let (crossings, least) = brute(&at.surface, &at.surface.positions, body);
    assert_eq!(crossings, 0);
    assert!(least >= 0.09, "{least}");
    assert!(check::crossings(&at.surface).unwrap().is_empty());
    at
}

/// A band rides on the cloth that a limb pushes, and is cleared itself of what lies over it.
#[test]
fn walls_of_a_band_stay_parallel_when_the_cloth_beneath_moves() {
    let around = 24;
    let surface = sleeve(around, 8, 1.0, |_, _| 5.0);
    for side in [Side::Under, Side::Over] {
        for plane in [None, Some(X)] {
            let belt = trim(2.6, 0.6, trims::Side::Upon);
            let trimmed = dressed(&surface, plane, belt, around);
            // A swelling beneath the band, or a shell around that leaves too little room over it.
            let bump =
                |angle: f64, y: f64| (-(angle - 1.5).powi(2) - ((y - 4.0) / 2.0).powi(2)).exp();
            let body = match side {
                Side::Under => limb(-6.0, 14.0, |angle, y| 4.0 + 1.5 * bump(angle, y)),
                Side::Over => limb(-6.0, 14.0, |angle, y| 6.5 - 1.2 * bump(angle, y)),
            };
            let layer = Layer::new("arm", &body, side, 0.2);
            worn_clear(&trimmed, &layer, &body, plane);
        }
    }
}

/// A thumb that sticks out through a sleeve has no side that the cloth could go to but beyond its
/// tip. The cloth isn't led there, nor are the walls behind it where it crumples, and what is in the
/// way is told.
#[test]
fn a_thumb_through_a_sleeve_leads_it_nowhere_far() {
    let surface = sleeve(24, 12, 1.0, |_, _| 5.0);
    let swelling = |angle: f64, y: f64| {
        let away = 1.0 - (angle - 4.6).cos();
        4.0 + 1.4 * (-2.0 * away - ((y - 8.0) / 2.0).powi(2)).exp()
    };
    let arm = Layer::new("arm", &limb(-4.0, 16.0, swelling), Side::Under, 0.2);
    for (side, length) in [(trims::Side::Beyond, 6.0), (trims::Side::Within, 9.0)] {
        let trimmed = dressed(&surface, None, trim(3.0, 0.5, side), 24);
        let put = |p: DVec3| DVec3::new(4.0 + length * p.x, 1.0 + p.y, p.z);
        let thumb = triangles_of(&blown_cube(16, put));
        let thumb = Layer::new("thumb", &thumb, Side::Under, 0.2);
        let follow = |moved: &[DVec3]| trimmed.relaid(moved);
        let frame = Frame {
            tied: trimmed.tied(),
            follow: Some(&follow),
            ..Frame::default()
        };
        let layers = [arm.clone(), thumb];
        let out = run(&trimmed.surface, &layers, &frame, &Task::default()).unwrap();
        assert!(!out.before[0].is_clear() && !out.after[1].is_clear());
        assert!(!out.findings.is_ready(), "{side:?}");
        // Half the thumb's width and the clearance, and a half more; walls behind it twice that.
        assert!(
            out.most < 2.0 * 1.6 * (1.0 + 0.2) + 0.1,
            "{side:?}: {}",
            out.most
        );
    }
}

/// What nothing touches keeps its bits, the trim's walls too.
#[test]
fn a_trim_that_nothing_pushes_stays_to_the_bit() {
    let surface = sleeve(20, 12, 1.0, |_, _| 5.0);
    let trimmed = dressed(&surface, Some(X), trim(2.0, 0.5, trims::Side::Beyond), 20);
    assert_eq!(
        trimmed.relaid(&trimmed.surface.positions),
        trimmed.surface.positions
    );
    let body = limb(-4.0, 16.0, |_, _| 4.0);
    let layer = Layer::new("arm", &body, Side::Under, 0.2);
    let (out, _) = worn(&trimmed, &layer, Some(X));
    assert_eq!(out.positions, trimmed.surface.positions);
}

/// Random sleeves with a trim over random limbs: what is cleared has parallel walls and cuts
/// nothing, and nearly all are cleared.
#[test]
fn random_trims_over_random_limbs_are_cleared_with_parallel_walls() {
    let (mut clear, mut pushed) = (0, 0);
    for seed in 0..24 {
        let mut n = Numbers(seed);
        let around = 2 * (8.0 + 8.0 * n.next()) as u32;
        let (radius, waves) = (n.between(3.0, 8.0), n.between(0.0, 0.04));
        let surface = sleeve(around, 9, 0.25 * radius, |angle, depth| {
            radius * (1.0 + waves * (3.0 * angle).cos() * (depth / radius).cos())
        });
        let side = if n.next() < 0.6 {
            trims::Side::Beyond
        } else {
            trims::Side::Within
        };
        let plane = (n.next() < 0.5).then_some(X);
        let thickness = radius * n.between(0.04, 0.12);
        let mut asked = trim(radius * n.between(0.3, 0.9), thickness, side);
        asked.loops = (3.0 * n.next()) as u32;
        asked.edge = if n.next() < 0.5 {
            Edge::Flat
        } else {
            Edge::Rounded
        };
        let trimmed = dressed(&surface, plane, asked, around);
        let bumps: Vec<[f64; 4]> = (0..3)
            .map(|_| {
                let at = [n.between(0.0, TAU), n.between(-1.0, 2.0)];
                [at[0], at[1], n.between(0.05, 0.25), n.between(0.5, 1.2)]
            })
            .collect();
        let shape = |angle: f64, y: f64| {
            let each = bumps.iter().map(|[a, h, size, wide]| {
                let away = 1.0 - (angle - a).cos();
                size * (-(2.0 * away + (y / radius - h).powi(2)) / (wide * wide)).exp()
            });
            radius * (0.78 + each.sum::<f64>())
        };
        let body = limb(-2.0 * radius, 4.0 * radius, shape);
        let layer = Layer::new("limb", &body, Side::Under, 0.02 * radius);
        let (out, at) = worn(&trimmed, &layer, plane);
        pushed += usize::from(!out.before[0].is_clear());
        let good = out.after[0].is_clear() && out.folded.is_empty() && out.cuts.is_empty();
        if good {
            clear += 1;
            assert!(
                fails(&at.findings).is_empty(),
                "{seed}: {:?}",
                fails(&at.findings)
            );
        } else {
            assert!(!out.findings.is_ready(), "{seed}");
        }
    }
    assert!(pushed >= 16, "{pushed}");
    assert!(clear >= 23, "{clear}");
}

/// Sharp bumps inside a ring, where there is less room the further it is pushed: along one
/// direction a vertex quads fold there; mended they don't.
#[test]
fn quads_that_a_push_would_fold_are_mended() {
    // Of ninety such rings these fold and can be cleared; one of them is not mended whole, and told.
    let mut mended = 0;
    for seed in [11, 25, 27, 34, 69, 85] {
        let mut n = Numbers(1000 + seed);
        let bumps: Vec<[f64; 4]> = (0..14)
            .map(|_| {
                let at = [n.next(), n.next()];
                [at[0], at[1], n.between(0.1, 0.28), n.between(30.0, 90.0)]
            })
            .collect();
        let torus = |minor: f64, bumpy: bool| {
            let bumps = &bumps;
            move |u: f64, v: f64| {
                let around = |a: f64, b: f64| (TAU * (a - b)).cos() - 1.0;
                let each = bumps.iter().map(|[a, b, size, k]| {
                    size * (k * (around(u, *a) + 0.4 * around(v, *b))).exp()
                });
                let more = if bumpy { each.sum() } else { 0.0 };
                let (turn, tilt) = (TAU * u, TAU * v);
                let out = DVec3::new(turn.cos(), turn.sin(), 0.0);
                out + (minor + more) * (tilt.cos() * out + tilt.sin() * DVec3::Z)
            }
        };
        let closed = |along: u32, around: u32, put: &dyn Fn(f64, f64) -> DVec3| {
            let mut mesh = tube(along, around, put);
            let last = along * around;
            for v in mesh.quads.iter_mut().flatten().filter(|v| **v >= last) {
                *v -= last;
            }
            mesh.positions.truncate(last as usize);
            let [a, b, c, _] = mesh.quads[0].map(|v| mesh.positions[v as usize]);
            if (b - a).cross(c - a).dot(a - a.normalize()) < 0.0 {
                mesh.quads.iter_mut().for_each(|q| q.reverse());
            }
            mesh
        };
        let surface = closed(40, 20, &torus(0.6, false));
        let body = closed(100, 64, &torus(0.55, true));
        let layer = Layer::new("body", &triangles_of(&body), Side::Under, 0.02);
        // The push alone.
        let bodies = [Body::new(&layer.mesh, layer.side, layer.clearance)];
        let task = Task::default();
        let mut push = Pushing::new(&surface, &bodies, &Frame::default(), false);
        let mut found = push.look(&bodies, &task).unwrap();
        for round in 0..ROUNDS {
            if found.iter().all(contact::Found::is_clear) {
                break;
            }
            push.round(round, &bodies, &found, &task).unwrap();
            found = push.look(&bodies, &task).unwrap();
        }
        let shape = Shape::of(&surface);
        assert!(shape.faults(&surface, &push.positions).len() > 0, "{seed}");
        let out = cleared(&surface, &layer, &Frame::default());
        assert!(out.after[0].is_clear(), "{seed}");
        let good = out.folded.is_empty() && out.cuts.is_empty();
        mended += usize::from(good);
        // The check agrees.
        let moved = QuadMesh {
            positions: out.positions.clone(),
            ..surface.clone()
        };
        let cuts = check::crossings(&moved).unwrap();
        assert_eq!(cuts.is_empty(), out.cuts.is_empty(), "{seed}");
        let told = out
            .findings
            .iter()
            .find(|f| f.code == "layer-shape")
            .unwrap();
        assert_eq!(told.level == Level::Pass, good, "{seed}");
        assert_eq!(told.places.is_empty(), good, "{seed}");
    }
    assert!(mended >= 5, "{mended}");
}
