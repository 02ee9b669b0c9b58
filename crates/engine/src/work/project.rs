//! Putting points back on the sculpt, on the side that faces the right way.

use mesh::{Closest, DVec3};

use crate::model::Sculpt;

/// A point on the sculpt with the sculpt's normal there.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Foot {
    /// Where, model units.
    pub point: DVec3,
    /// Unit normal, interpolated between the sculpt's vertices.
    pub normal: DVec3,
    /// The sculpt's triangle.
    pub triangle: u32,
}

/// The nearest point of the sculpt within `reach` on a triangle that faces like `normal`
/// (with any facing if `normal` is zero). A point never lands on the inner wall of a
/// thick cloth that way.
pub(crate) fn foot(sculpt: &Sculpt, p: DVec3, normal: DVec3, reach: f64) -> Option<Foot> {
    foot_from(sculpt, p, normal, reach, None)
}

/// As [`foot`]; looking starts at a triangle, which doesn't change what is found.
pub(crate) fn foot_from(
    sculpt: &Sculpt,
    p: DVec3,
    normal: DVec3,
    reach: f64,
    near: Option<u32>,
) -> Option<Foot> {
    let mesh = &sculpt.mesh;
    let faces = |t: u32| normal == DVec3::ZERO || mesh.area_normal(t as usize).dot(normal) > 0.0;
    let found = sculpt.index.closest_from(p, reach, near, faces)?;
    Some(Foot {
        point: found.point,
        normal: normal_at(sculpt, &found),
        triangle: found.triangle,
    })
}

/// The sculpt's normal at a point of it.
fn normal_at(sculpt: &Sculpt, at: &Closest) -> DVec3 {
    let corners = sculpt.mesh.triangles[at.triangle as usize];
    let mixed: DVec3 = (0..3)
        .map(|i| sculpt.normals[corners[i] as usize].as_dvec3() * at.barycentric[i])
        .sum();
    mixed.try_normalize().unwrap_or_else(|| {
        sculpt
            .mesh
            .area_normal(at.triangle as usize)
            .normalize_or_zero()
    })
}
