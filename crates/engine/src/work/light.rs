//! The half made light, before any curve is laid: the part of the work that guides don't
//! change, so that a session does it once.
//!
//! A dense sculpt has many triangles for each one that tells two curves or two walls apart.
//! Those much shorter than a work edge are collapsed here, boundaries held vertex for
//! vertex, so that what follows hardly depends on the sculpt's size.

use std::sync::Arc;

use base::Task;
use mesh::{SurfaceIndex, TriMesh};

use super::edit::EditMesh;
use super::{WorkError, boundary, reduce};
use crate::guides::GuideCurves;
use crate::model::{Plane, Sculpt};
use crate::symmetry::Half;

/// Edges shorter than this share of a work edge are collapsed.
const FINE: f64 = 0.3;
/// A half with at most this share of its triangles left is worth an index of its own.
const LIGHTER: f64 = 0.5;

/// A half without triangles much smaller than a work edge.
#[derive(Clone, Debug)]
pub struct LightHalf {
    pub(super) mesh: EditMesh,
    pub(super) plane: Option<Plane>,
    /// What is left as a surface to ask for closest points, where it is much lighter than the sculpt: an
    /// answer takes a third of the time there.
    pub(super) under: Option<Arc<Sculpt>>,
}

impl LightHalf {
    /// The half as it is.
    ///
    /// # Errors
    /// [`WorkError::NotManifold`].
    pub fn whole(half: &Half) -> Result<Self, WorkError> {
        let mesh = EditMesh::build(&half.mesh).map_err(|e| {
            let at = half.mesh.positions.get(e.vertices[0] as usize);
            WorkError::NotManifold {
                at: at.map_or([0.0; 3], |p| p.as_dvec3().to_array()),
            }
        })?;
        Ok(Self {
            mesh,
            plane: half.plane,
            under: None,
        })
    }

    /// The half for work edges of about `edge` (model units) or longer. Linear.
    ///
    /// # Errors
    /// As [`LightHalf::whole`], or cancelled.
    pub fn new(half: &Half, sculpt: &Sculpt, edge: f64, task: &Task) -> Result<Self, WorkError> {
        let mut light = Self::whole(half)?;
        let mesh = &mut light.mesh;
        let height = |p| half.plane.map(|plane| plane.height(p));
        let none = GuideCurves::default();
        let rails = boundary::tag(mesh, height, &none, sculpt.mesh.diagonal());
        for v in 0..mesh.pos.len() as u32 {
            // Guides may mean the sculpt's own boundary, point by point.
            mesh.pinned[v as usize] = mesh.on_boundary(v);
        }
        reduce::reduce(mesh, &rails, FINE * edge, task)?;
        mesh.segments.clear();
        mesh.seg.fill(super::edit::NONE);
        mesh.on_rail.fill(false);
        mesh.pinned.fill(false);
        Ok(light)
    }

    /// The same with an index, where it is much lighter than the half that it was made from. Cost n log n.
    pub fn indexed(mut self, half: &Half) -> Self {
        if self.mesh.tri.len() as f64 <= LIGHTER * half.mesh.triangles.len() as f64 {
            let mesh = Arc::new(self.triangles());
            self.under = Some(Arc::new(Sculpt {
                index: Arc::new(SurfaceIndex::new(Arc::clone(&mesh))),
                normals: Arc::new(mesh.vertex_normals()),
                mesh,
            }));
        }
        self
    }

    /// What is left as a surface of its own, where that has an index.
    pub fn surface(&self) -> Option<Arc<Sculpt>> {
        self.under.clone()
    }

    /// Its triangles; vertices of no triangle are left out.
    pub fn triangles(&self) -> TriMesh {
        let mut compact = self.mesh.clone();
        compact.compact();
        TriMesh {
            positions: compact.pos.iter().map(|p| p.as_vec3()).collect(),
            triangles: compact.tri,
        }
    }
}
