//! Triangles of an index near a triangle from outside it.

use super::build::Node;
use super::query::SLACK;
use super::{SurfaceIndex, corner};
use crate::DVec3;

impl SurfaceIndex {
    /// Calls `visit` with each triangle, and its corners, whose bounding box is within `reach`
    /// (model units) of the box around `low` and `high`. Every triangle within `reach` of
    /// something in that box is among them; their order is the tree's, the same at every call.
    pub fn visit_near(
        &self,
        (low, high): (DVec3, DVec3),
        reach: f64,
        mut visit: impl FnMut(u32, [DVec3; 3]),
    ) {
        let slack = SLACK * (self.extent + low.abs().max_element() + high.abs().max_element());
        let limit = (reach + slack).powi(2);
        let apart = |a: DVec3, b: DVec3| (a - high).max(low - b).max(DVec3::ZERO).length_squared();
        let far = |node: &Node| apart(corner(node.low), corner(node.high));
        self.walk(limit, far, |triangle: u32| {
            let corners = self.mesh.corners(triangle as usize);
            let [a, b, c] = corners;
            if apart(a.min(b).min(c), a.max(b).max(c)) <= limit {
                visit(triangle, corners);
            }
            limit
        });
    }
}
