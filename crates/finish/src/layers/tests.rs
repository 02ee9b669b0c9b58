//! Layers against closed forms, brute force and a hundred made pairs.

use engine::model::Plane;
use mesh::{DVec3, QuadMesh, TriMesh, gap, pass_through};

use super::contact::CUTS;
use super::*;

/// Numbers from 0 to 1 (SplitMix64: Steele, Lea & Flood, OOPSLA 2014).
pub(super) struct Numbers(pub u64);

impl Numbers {
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    pub fn direction(&mut self) -> DVec3 {
        loop {
            let p = DVec3::new(self.next(), self.next(), self.next()) * 2.0 - 1.0;
            if p.length() > 0.1 && p.length() < 1.0 {
                return p.normalize();
            }
        }
    }
}

/// A cube's faces of `n` by `n` quads blown up to the unit sphere, then moved by `put`.
pub(super) fn blown_cube(n: u32, put: impl Fn(DVec3) -> DVec3) -> QuadMesh {
    let mut mesh = QuadMesh::default();
    let mut known = std::collections::BTreeMap::new();
    for axis in 0..3 {
        for side in [-1.0, 1.0] {
            let mut vertex = |i: u32, j: u32| {
                // Even angles, the same both ways so that images are exact.
                let even = |k: u32| {
                    let x = (2.0 * f64::from(k) - f64::from(n)) / f64::from(n);
                    (x * std::f64::consts::FRAC_PI_4).tan()
                };
                let mut p = DVec3::ZERO;
                p[axis] = side;
                p[(axis + 1) % 3] = if i == 0 {
                    -1.0
                } else if i == n {
                    1.0
                } else {
                    even(i)
                };
                p[(axis + 2) % 3] = if j == 0 {
                    -1.0
                } else if j == n {
                    1.0
                } else {
                    even(j)
                };
                let key = p.to_array().map(|x| (x * 1e9).round() as i64);
                *known.entry(key).or_insert_with(|| {
                    mesh.positions.push(put(p.normalize()));
                    mesh.positions.len() as u32 - 1
                })
            };
            let mut quads = Vec::new();
            for i in 0..n {
                for j in 0..n {
                    let mut quad = [
                        vertex(i, j),
                        vertex(i + 1, j),
                        vertex(i + 1, j + 1),
                        vertex(i, j + 1),
                    ];
                    if side < 0.0 {
                        quad.reverse();
                    }
                    quads.push(quad);
                }
            }
            mesh.quads.extend(quads);
        }
    }
    mesh
}

pub(super) fn triangles_of(mesh: &QuadMesh) -> TriMesh {
    TriMesh {
        positions: mesh.positions.iter().map(|p| p.as_vec3()).collect(),
        triangles: mesh.triangulated(),
    }
}

/// A sheet of `along` by `around` quads, closed around; `put` takes shares 0 to 1.
pub(super) fn tube(along: u32, around: u32, put: impl Fn(f64, f64) -> DVec3) -> QuadMesh {
    let mut mesh = QuadMesh::default();
    for i in 0..=along {
        for j in 0..around {
            let share = |k: u32, n: u32| f64::from(k) / f64::from(n);
            mesh.positions.push(put(share(i, along), share(j, around)));
        }
    }
    let at = |i: u32, j: u32| i * around + j % around;
    for i in 0..along {
        for j in 0..around {
            mesh.quads
                .push([at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
    mesh
}

/// Boxes further apart than this can't be nearer than any clearance here.
const FAR: f64 = 0.1;

/// Crossings and the least distance, up to [`FAR`], by every pair, both ways of cutting each quad.
pub(super) fn brute(surface: &QuadMesh, positions: &[DVec3], layer: &TriMesh) -> (usize, f64) {
    let mut crossings = 0;
    let mut least = FAR;
    for quad in &surface.quads {
        let corners = quad.map(|v| positions[v as usize]);
        let low = corners.into_iter().reduce(DVec3::min).unwrap() - FAR;
        let high = corners.into_iter().reduce(DVec3::max).unwrap() + FAR;
        for t in 0..layer.triangles.len() {
            let other = layer.corners(t);
            let beyond = |p: f64, q: f64, low: f64, high: f64| p > high || q < low;
            let [a, b, c] = other;
            let (from, to) = (a.min(b).min(c), a.max(b).max(c));
            if (0..3).any(|i| beyond(from[i], to[i], low[i], high[i])) {
                continue;
            }
            let cuts = CUTS.map(|cut| cut.map(|i| corners[i]));
            if cuts.iter().any(|&c| pass_through(c, other)) {
                crossings += 1;
            }
            for cut in cuts {
                least = least.min(gap(cut, other).distance);
            }
        }
    }
    (crossings, least)
}

pub(super) fn cleared(surface: &QuadMesh, layer: &Layer, frame: &Frame<'_>) -> Cleared {
    run(
        surface,
        std::slice::from_ref(layer),
        frame,
        &Task::default(),
    )
    .unwrap()
}

/// Two spheres about one point: the push that clears them evenly is the difference of radii
/// and clearance, and nothing less does.
#[test]
fn nested_spheres_are_as_far_apart_as_asked() {
    for (side, radius) in [(Side::Under, 1.01), (Side::Over, 0.98)] {
        let surface = blown_cube(12, |p| p);
        let ball = triangles_of(&blown_cube(40, |p| radius * p));
        let layer = Layer::new("ball", &ball, side, 0.05);
        let out = cleared(&surface, &layer, &Frame::default());
        assert!(
            out.after[0].is_clear() && !out.before[0].is_clear(),
            "{side:?}"
        );
        // Faces of the surface bulge in by the sagitta of their diagonals: 1 - cos(d / 2).
        let needed = match side {
            Side::Under => 0.06,
            Side::Over => 0.07,
        };
        assert!(
            out.mean > 0.9 * needed && out.mean < 1.35 * needed,
            "{} {needed}",
            out.mean
        );
        assert!(
            out.mean <= 1.3 * out.least_mean,
            "{} {}",
            out.mean,
            out.least_mean
        );
        let (crossings, least) = brute(&surface, &out.positions, &ball);
        assert_eq!(crossings, 0);
        assert!(least >= 0.99 * 0.05, "{least}");
        // What was a sphere stays nearly round.
        let radii = out.positions.iter().map(|p| p.length());
        let (low, high) = radii.fold((9.0f64, 0.0f64), |(l, h), r| (l.min(r), h.max(r)));
        assert!(high - low < 0.02, "{low} {high}");
    }
}

/// Distances between two tori with one middle circle are those of their radii.
#[test]
fn clearances_of_nested_tori_are_those_of_the_formula() {
    let torus = |minor: f64| {
        move |u: f64, v: f64| {
            let (u, v) = (u * std::f64::consts::TAU, v * std::f64::consts::TAU);
            let r = 3.0 + minor * v.cos();
            DVec3::new(r * u.cos(), r * u.sin(), minor * v.sin())
        }
    };
    let open = |along, around, minor| tube(along, around, torus(minor));
    let inner = triangles_of(&open(200, 80, 0.8));
    for (minor, clearance, clear) in [(1.0, 0.15, true), (1.0, 0.25, false), (0.7, 0.1, false)] {
        let outer = open(120, 48, minor);
        let layer = Layer::new("ring", &inner, Side::Under, clearance);
        let out = cleared(&outer, &layer, &Frame::default());
        assert_eq!(out.before[0].is_clear(), clear, "{minor} {clearance}");
        assert_eq!(out.most == 0.0, clear);
        assert!(out.after[0].is_clear());
        for (quad, distance, _) in &out.before[0].close {
            assert!(
                (distance - (minor - 0.8).abs()).abs() < 0.015,
                "{quad} {distance}"
            );
        }
        let needed = 0.8 + clearance - minor;
        assert!(clear || out.mean < 1.3 * needed, "{} {needed}", out.mean);
    }
}

#[test]
fn a_surface_wholly_inside_is_brought_out() {
    let surface = blown_cube(10, |p| 0.8 * p);
    let ball = triangles_of(&blown_cube(40, |p| p));
    let layer = Layer::new("ball", &ball, Side::Under, 0.05);
    let out = cleared(&surface, &layer, &Frame::default());
    assert_eq!(out.before[0].wrong.len(), surface.positions.len());
    assert!(out.before[0].crossings.is_empty());
    assert!(out.after[0].is_clear());
    assert_eq!(brute(&surface, &out.positions, &ball).0, 0);
}

#[test]
fn looks_agree_with_every_pair() {
    let mut numbers = Numbers(11);
    for _ in 0..6 {
        let bump = numbers.direction();
        let put = |p: DVec3| p * (0.9 + 0.2 * (8.0 * (p.dot(bump) - 1.0)).exp());
        let surface = blown_cube(8, |p| p);
        let body = triangles_of(&blown_cube(20, put));
        let layer = Layer::new("body", &body, Side::Under, 0.06);
        let made = Body::new(&layer.mesh, layer.side, layer.clearance);
        let mut known = contact::Known::nothing(&surface);
        let own = vec![DVec3::ZERO; surface.quads.len()];
        let found = made.look(&surface, &own, &surface.positions, &mut known);
        let (crossings, _) = brute(&surface, &surface.positions, &body);
        assert_eq!(found.crossings.len(), crossings);
        assert!(crossings > 0);
        let out = cleared(&surface, &layer, &Frame::default());
        let (crossings, least) = brute(&surface, &out.positions, &body);
        assert_eq!(crossings, 0);
        assert!(least >= 0.99 * 0.06);
        // Sides: a vertex is inside where its distance from the middle says so.
        for (v, p) in surface.positions.iter().enumerate() {
            let inside = p.length() < put(p.normalize()).length() - 0.02;
            let outside = p.length() > put(p.normalize()).length() + 0.02;
            let wrong = found.wrong.contains(&(v as u32));
            assert!((!inside || wrong) && (!outside || !wrong), "{p}");
        }
    }
}

#[test]
fn mirrored_halves_stay_exact_images() {
    let plane = Plane {
        origin: DVec3::ZERO,
        normal: DVec3::X,
    };
    let surface = blown_cube(10, |p| p);
    // Only one side is poked through.
    let bump = DVec3::new(0.6, 0.5, 0.3).normalize();
    let put = |p: DVec3| p * (0.9 + 0.25 * (10.0 * (p.dot(bump) - 1.0)).exp());
    let body = triangles_of(&blown_cube(40, put));
    let layer = Layer::new("body", &body, Side::Under, 0.03);
    let frame = Frame {
        plane: Some(plane),
        ..Frame::default()
    };
    let out = cleared(&surface, &layer, &frame);
    assert!(out.after[0].is_clear());
    let key = |p: DVec3| p.to_array().map(|x| (x + 0.0).to_bits());
    let all: std::collections::BTreeSet<_> = out.positions.iter().map(|&p| key(p)).collect();
    let mut moved_images = 0;
    for (&p, &old) in out.positions.iter().zip(&surface.positions) {
        assert!(all.contains(&key(plane.mirror(p))), "{p}");
        assert!(old.x != 0.0 || p.x == 0.0);
        moved_images += usize::from(old.x < 0.0 && p != old);
    }
    assert!(moved_images > 0);
}

#[test]
fn what_cannot_move_is_told() {
    let surface = blown_cube(8, |p| p);
    let ball = triangles_of(&blown_cube(30, |p| 1.02 * p));
    let layer = Layer::new("ball", &ball, Side::Under, 0.05);
    let still: Vec<u32> = (0..surface.positions.len() as u32).collect();
    let out = cleared(
        &surface,
        &layer,
        &Frame {
            still,
            ..Frame::default()
        },
    );
    assert!(!out.after[0].is_clear());
    assert_eq!(out.positions, surface.positions);
    assert!(!out.findings.is_ready());
    // One layer under and one over with no room between.
    let tight = triangles_of(&blown_cube(30, |p| 1.05 * p));
    let both = [layer, Layer::new("shell", &tight, Side::Over, 0.05)];
    let out = run(&surface, &both, &Frame::default(), &Task::default()).unwrap();
    assert!(!out.findings.is_ready());
    let failed = out
        .findings
        .iter()
        .find(|f| f.level == base::Level::Fail)
        .unwrap();
    assert!(!failed.places.is_empty());
}

/// A surface and a body under it that pokes through here and there.
fn pair(seed: u64) -> (QuadMesh, TriMesh, f64) {
    let mut numbers = Numbers(seed);
    let clearance = numbers.between(0.01, 0.05);
    let bumps: Vec<(DVec3, f64, f64)> = (0..12)
        .map(|_| {
            let size = numbers.between(-0.05, 0.12);
            (numbers.direction(), size, numbers.between(15.0, 120.0))
        })
        .collect();
    let bumpy = |d: DVec3| -> f64 {
        let each = bumps.iter();
        each.map(|(at, size, k)| size * (k * (d.dot(*at) - 1.0)).exp())
            .sum()
    };
    let slack = numbers.between(-0.02, 0.06);
    if seed.is_multiple_of(2) {
        // A blob with limbs.
        let limbs: Vec<(DVec3, f64, f64)> = (0..4)
            .map(|_| {
                let size = numbers.between(0.2, 0.9);
                (numbers.direction(), size, numbers.between(6.0, 14.0))
            })
            .collect();
        let radius = |d: DVec3| -> f64 {
            let each = limbs.iter();
            1.0 + each
                .map(|(at, size, k)| size * (k * (d.dot(*at) - 1.0)).exp())
                .sum::<f64>()
        };
        let surface = blown_cube(14, |d| d * radius(d));
        let body = blown_cube(60, |d| d * (radius(d) - slack - clearance + bumpy(d)));
        (surface, triangles_of(&body), clearance)
    } else {
        // A bent sleeve, open at both ends, over a limb that goes on beyond them.
        let bend = numbers.between(0.3, 1.2);
        let waist = numbers.between(0.0, 0.25);
        let at = |u: f64, v: f64, more: &dyn Fn(DVec3) -> f64| {
            let angle = bend * u;
            let middle = DVec3::new(angle.sin() / bend, 0.0, (1.0 - angle.cos()) / bend) * 4.0;
            let (out, side) = (DVec3::new(-angle.sin(), 0.0, angle.cos()), DVec3::Y);
            let turn = v * std::f64::consts::TAU;
            let d = turn.cos() * out + turn.sin() * side;
            let on_ball =
                (d + (2.0 * u - 1.0) * DVec3::new(angle.cos(), 0.0, angle.sin())).normalize();
            let radius = 0.7 - waist * (u * std::f64::consts::PI).sin();
            middle + d * (radius + more(on_ball))
        };
        let surface = tube(24, 20, |u, v| at(u, v, &|_| 0.0));
        let under = |d: DVec3| bumpy(d) - slack - clearance;
        let limb = tube(160, 100, |u, v| at(1.4 * u - 0.2, v, &under));
        (surface, triangles_of(&limb), clearance)
    }
}

#[test]
fn a_hundred_made_pairs_are_cleared_with_little_motion() {
    let mut needed = 0;
    for seed in 0..100 {
        let (surface, body, clearance) = pair(seed);
        let layer = Layer::new("body", &body, Side::Under, clearance);
        let out = cleared(&surface, &layer, &Frame::default());
        assert!(out.after[0].is_clear(), "{seed}: {:?}", out.after[0]);
        assert!(out.findings.is_ready());
        needed += usize::from(!out.before[0].crossings.is_empty());
        let ratio = out.mean / out.least_mean;
        assert!(ratio >= 0.999, "{seed}: below its lower bound by {ratio}");
        assert!(ratio <= 1.3, "{seed}: {ratio}");
        if seed.is_multiple_of(25) {
            let (crossings, least) = brute(&surface, &out.positions, &body);
            assert_eq!(crossings, 0, "{seed}");
            assert!(least >= 0.99 * clearance, "{seed}: {least} of {clearance}");
        }
    }
    assert!(needed > 80, "only {needed} pairs were in each other's way");
}
