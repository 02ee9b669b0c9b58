//! Closest points and rays beside `parry3d-f64`, a general-purpose geometry library.

use engine::model::Sculpt;
use mesh::DVec3;
use parry3d_f64::math::Vector;
use parry3d_f64::query::{PointQuery, Ray, RayCast};
use parry3d_f64::shape::TriMesh;

use crate::clock::{line, median, timed};

/// Questions of each kind.
const QUESTIONS: usize = 100_000;
const RUNS: usize = 5;
/// Greatest relative difference of two distances that counts as agreement.
const AGREED: f64 = 1e-6;

/// Asks both the same, checks that they agree, prints rates and ratios; one thread.
pub fn compare(sculpt: &Sculpt) {
    let mesh = &sculpt.mesh;
    let vector = |p: DVec3| Vector::new(p.x, p.y, p.z);
    let corners = mesh
        .positions
        .iter()
        .map(|p| vector(p.as_dvec3()))
        .collect();
    let (index, ours) = timed(|| mesh::SurfaceIndex::new(mesh.clone()));
    let (other, theirs) = timed(|| TriMesh::new(corners, mesh.triangles.clone()).expect("mesh"));
    println!("  beside parry3d-f64; medians of {RUNS} runs, {QUESTIONS} questions, one thread");
    line("tree built, ours (all threads)", ours, "s");
    line("tree built, reference", theirs, "s");

    let diagonal = mesh.diagonal();
    let points = places(sculpt, 0.02 * diagonal);
    let near = |p: DVec3| index.closest(p).map_or(f64::INFINITY, |c| c.distance);
    let near_other = |p: DVec3| other.distance_to_local_point(vector(p), false);
    agree("closest points", &points, diagonal, near, near_other);
    rates("closest points", &points, near, near_other);

    // Rays from a sphere around the sculpt to the points beside its surface.
    let centre = mesh
        .bounds()
        .map_or(DVec3::ZERO, |(low, high)| (low + high) / 2.0);
    let rays: Vec<(DVec3, DVec3)> = points
        .iter()
        .zip(directions())
        .map(|(&to, out)| {
            let from = centre + diagonal * out;
            (from, (to - from).normalize())
        })
        .collect();
    let hit = |(from, towards): (DVec3, DVec3)| {
        index
            .ray(from, towards, f64::INFINITY)
            .map_or(f64::INFINITY, |h| h.distance)
    };
    let hit_other = |(from, towards): (DVec3, DVec3)| {
        let ray = Ray::new(vector(from), vector(towards));
        other
            .cast_local_ray(&ray, f64::MAX, false)
            .unwrap_or(f64::INFINITY)
    };
    agree("rays", &rays, diagonal, hit, hit_other);
    rates("rays", &rays, hit, hit_other);
}

/// Panics unless all distances agree. Rays through an edge may count as a miss for one of
/// the two: a handful of those is let pass, a different distance is not.
fn agree<Q: Copy>(
    what: &str,
    questions: &[Q],
    scale: f64,
    one: impl Fn(Q) -> f64,
    two: impl Fn(Q) -> f64,
) {
    let mut grazing = 0;
    for &q in questions {
        let (a, b) = (one(q), two(q));
        if a.is_finite() != b.is_finite() {
            grazing += 1;
        } else if a.is_finite() {
            // Beside the surface a distance is a difference of coordinates as large as `scale`.
            let size = a.abs().max(1e-6 * scale);
            assert!((a - b).abs() <= AGREED * size, "{what}: {a} and {b} differ");
        }
    }
    assert!(
        grazing <= questions.len() / 10_000,
        "{what}: {grazing} hit for one only"
    );
    println!("  {what}: all distances agree within {AGREED:e}; {grazing} met an edge for one only");
}

fn rates<Q: Copy>(what: &str, questions: &[Q], one: impl Fn(Q) -> f64, two: impl Fn(Q) -> f64) {
    let rate = |ask: &dyn Fn(Q) -> f64| {
        let seconds = (0..RUNS).map(|_| {
            timed(|| std::hint::black_box(questions.iter().map(|&q| ask(q)).fold(0.0, f64::max))).1
        });
        questions.len() as f64 / median(seconds) / 1e6
    };
    let (ours, theirs) = (rate(&one), rate(&two));
    line(&format!("{what}, ours"), ours, "M/s");
    line(&format!("{what}, reference"), theirs, "M/s");
    line(&format!("{what}, ours over reference"), ours / theirs, "");
}

/// Points up to `reach` off the surface, in an order that jumps about.
fn places(sculpt: &Sculpt, reach: f64) -> Vec<DVec3> {
    let mesh = &sculpt.mesh;
    let count = mesh.triangles.len();
    let steps = (0..QUESTIONS).map(|k| (k as f64 * GOLDEN).fract());
    steps
        .zip(directions())
        .map(|(share, off)| {
            let [a, b, c] = mesh.corners(((share * count as f64) as usize).min(count - 1));
            (a + b + c) / 3.0 + reach * (7.0 * share).fract() * off
        })
        .collect()
}

const GOLDEN: f64 = 0.618_033_988_749_894_8;

/// Directions spread over the sphere (a spherical Fibonacci lattice).
fn directions() -> impl Iterator<Item = DVec3> {
    (0..QUESTIONS).map(|k| {
        let z = 1.0 - (2 * k + 1) as f64 / QUESTIONS as f64;
        let turn = std::f64::consts::TAU * (k as f64 * GOLDEN).fract();
        let ring = (1.0 - z * z).sqrt();
        DVec3::new(ring * turn.cos(), ring * turn.sin(), z)
    })
}
