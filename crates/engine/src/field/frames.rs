//! Tangent frames at vertices by normalised angles, and transport along edges.
//!
//! Knöppel, Crane, Pinkall & Schröder, "Globally optimal direction fields" (2013),
//! section 4: the corner angles at an inner vertex are scaled to sum to a full
//! turn; a direction is an angle against the vertex's first half-edge.

use mesh::{DVec3, TriTopology};
use std::f64::consts::{PI, TAU};

/// Intrinsic frames of a work surface. All angles in radians.
#[derive(Clone, Debug)]
pub struct Frames {
    /// Angle of each half-edge at the vertex it starts from.
    half: Vec<f64>,
    /// Angle, at the vertex it runs to, of the way back along a half-edge.
    back: Vec<f64>,
    /// Corner angle at the start of each half-edge, not scaled.
    corner: Vec<f64>,
    /// What corner angles at a vertex are multiplied with.
    scale: Vec<f64>,
    /// Sum of scaled corner angles at a vertex.
    total: Vec<f64>,
}

impl Frames {
    /// Frames of a surface with these positions.
    pub fn new(topology: &TriTopology, positions: &[DVec3]) -> Self {
        let halves = topology.triangles.len() * 3;
        let corner: Vec<f64> = (0..halves as u32)
            .map(|h| {
                let at = positions[topology.from(h) as usize];
                let one = positions[topology.to(h) as usize] - at;
                let two = positions[topology.from(topology.prev(h)) as usize] - at;
                one.cross(two).length().atan2(one.dot(two)).max(1e-4)
            })
            .collect();
        let vertices = topology.vertex_count();
        let mut this = Self {
            half: vec![0.0; halves],
            back: vec![0.0; halves],
            corner,
            scale: vec![1.0; vertices],
            total: vec![0.0; vertices],
        };
        for v in 0..vertices as u32 {
            let sum: f64 = topology.fan(v).map(|h| this.corner[h as usize]).sum();
            let scale = if topology.is_boundary_vertex(v) || sum == 0.0 {
                1.0
            } else {
                TAU / sum
            };
            this.scale[v as usize] = scale;
            let mut angle = 0.0;
            for h in topology.fan(v) {
                this.half[h as usize] = angle;
                if let Some(twin) = topology.twin(h) {
                    this.back[twin as usize] = angle;
                }
                angle += this.corner[h as usize] * scale;
                let inward = topology.prev(h);
                if topology.twin(inward).is_none() {
                    this.back[inward as usize] = angle;
                }
            }
            this.total[v as usize] = angle;
        }
        this
    }

    /// Angle of a half-edge in the frame of the vertex it starts from.
    #[inline]
    pub fn outgoing(&self, half: u32) -> f64 {
        self.half[half as usize]
    }

    /// Angle of the way back along a half-edge, in the frame of the vertex it runs to.
    #[inline]
    pub fn backward(&self, half: u32) -> f64 {
        self.back[half as usize]
    }

    /// Angle of the edge `edge` seen from its end `vertex`.
    #[inline]
    pub fn of_edge(&self, topology: &TriTopology, edge: u32, vertex: u32) -> f64 {
        let h = topology.half_of_edge(edge);
        if topology.from(h) == vertex {
            self.half[h as usize]
        } else {
            self.back[h as usize]
        }
    }

    /// Unscaled corner angle at the start of a half-edge.
    #[inline]
    pub fn corner(&self, half: u32) -> f64 {
        self.corner[half as usize]
    }

    /// Scale of angles at a vertex.
    #[inline]
    pub fn scale(&self, vertex: u32) -> f64 {
        self.scale[vertex as usize]
    }

    /// Sum of scaled angles at a vertex: a full turn inside.
    #[inline]
    pub fn total(&self, vertex: u32) -> f64 {
        self.total[vertex as usize]
    }

    /// What is added to an angle when it is carried along a half-edge.
    #[inline]
    pub fn transport(&self, half: u32) -> f64 {
        self.back[half as usize] - self.half[half as usize] + PI
    }
}

/// The angle brought into (−half, half] of the period `period`.
#[inline]
pub fn wrap(angle: f64, period: f64) -> f64 {
    let turned = angle.rem_euclid(period);
    if turned > period / 2.0 {
        turned - period
    } else {
        turned
    }
}
