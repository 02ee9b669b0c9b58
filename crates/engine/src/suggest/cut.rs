//! Where a function on the vertices of the light sculpt has a value: loops and open runs, and
//! plane sections among them.

use mesh::{DVec3, Run, runs, trace};

use super::ground::Ground;

/// The runs in which a plane cuts the light sculpt.
pub(super) fn section(ground: &Ground<'_>, origin: DVec3, normal: DVec3) -> Vec<Run> {
    let height: Vec<f64> = ground
        .at
        .iter()
        .map(|&p| (p - origin).dot(normal))
        .collect();
    let above = |v: u32| height[v as usize] >= 0.0;
    let cut = |a: u32, b: u32| {
        let (ha, hb) = (height[a as usize], height[b as usize]);
        ground.at[a as usize].lerp(ground.at[b as usize], ha / (ha - hb))
    };
    let topology = &ground.topology;
    let mut seen = vec![false; topology.triangles.len()];
    let all = 0..topology.triangles.len() as u32;
    trace(topology, all, &above, &cut, &mut seen)
}

/// How often a closed run in the plane through `centre` goes around it.
pub(super) fn encloses(run: &Run, centre: DVec3, normal: DVec3) -> bool {
    let one = normal.any_orthonormal_vector();
    let two = normal.cross(one);
    let flat = |p: DVec3| ((p - centre).dot(one), (p - centre).dot(two));
    let turned: f64 = runs::pieces(run.points.len(), true)
        .map(|(i, j)| {
            let ((ax, ay), (bx, by)) = (flat(run.points[i]), flat(run.points[j]));
            (ax * by - ay * bx).atan2(ax * bx + ay * by)
        })
        .sum();
    run.closed && turned.abs() > std::f64::consts::PI
}

/// Area within a closed run in a plane of this unit normal, square model units.
pub(super) fn area(run: &Run, normal: DVec3) -> f64 {
    let first = run.points.first().copied().unwrap_or(DVec3::ZERO);
    let sum: f64 = runs::pieces(run.points.len(), true)
        .map(|(i, j)| {
            (run.points[i] - first)
                .cross(run.points[j] - first)
                .dot(normal)
        })
        .sum();
    sum.abs() / 2.0
}
