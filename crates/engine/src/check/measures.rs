//! What is measured. Lengths "in edges" are multiples of the surface's mean edge
//! length; "pct" is percent of the diagonal of the sculpt's bounding box; "deg" degrees.

use serde::Serialize;

/// Everything that was measured.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Measures {
    /// Elements and defects.
    pub counts: Counts,
    /// Valences.
    pub poles: PoleMeasures,
    /// Strips of quads.
    pub strips: StripMeasures,
    /// One entry a guide, in the order given.
    pub guides: Vec<GuideMeasures>,
    /// With a mirror plane only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<MirrorMeasures>,
    /// From the surface to the sculpt.
    pub fit: FitMeasures,
    /// From the sculpt to the surface.
    pub reverse: ReverseMeasures,
    /// Evenness, and nearness to the number of faces asked for.
    pub size: SizeMeasures,
    /// Shape of the quads.
    pub shape: ShapeMeasures,
    /// Pairs of triangles (two a quad) without a common vertex that pass through each other.
    pub self_intersections: usize,
    /// One entry a ring with loops.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub loops: Vec<LoopMeasures>,
    /// One entry an area.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub areas: Vec<AreaMeasures>,
    /// One entry a pin.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pins: Vec<PinMeasures>,
    /// One entry a keep-out.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub keep_outs: Vec<KeepOutMeasures>,
    /// Only when asked for, and where the sculpt can be reduced.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub yardstick: Option<YardstickMeasures>,
}

/// Elements and defects.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Counts {
    /// Vertices, used or not.
    pub vertices: usize,
    /// Faces.
    pub faces: usize,
    /// Share of faces that have four different corners.
    pub quad_share: f64,
    /// Vertices of no face.
    pub unused_vertices: usize,
    /// Edges with more than two faces.
    pub nonmanifold_edges: usize,
    /// Vertices whose faces don't form one fan.
    pub nonmanifold_vertices: usize,
    /// Edges whose two faces run them in the same direction.
    pub inconsistent_edges: usize,
    /// Connected pieces.
    pub components: usize,
    /// V − E + F over the vertices in use.
    pub euler: i64,
    /// Connected runs of boundary edges.
    pub boundary_loops: usize,
}

impl Counts {
    /// Edges and vertices that aren't manifold or face both ways, and vertices of no face.
    pub fn faults(&self) -> usize {
        self.nonmanifold_edges
            + self.nonmanifold_vertices
            + self.inconsistent_edges
            + self.unused_vertices
    }
}

/// Valences. "Interior" vertices are on no boundary edge.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PoleMeasures {
    /// Interior vertices by valence: (valence, how many), rising.
    pub interior_valences: Vec<(u32, usize)>,
    /// Interior vertices whose valence isn't four.
    pub poles: usize,
    /// Of those, valence six and more.
    pub poles_over_5: usize,
    /// Of those, valence two.
    pub valence_2: usize,
    /// Boundary vertices of valence two.
    pub corners: usize,
    /// Boundary vertices of valence neither two nor three.
    pub boundary_other: usize,
    /// |Σ(4 − interior valence) + Σ(3 − boundary valence) − 4 χ|: 0 on every sound quad mesh.
    pub valence_identity_residual: u64,
}

/// Strips of quads.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct StripMeasures {
    /// All strips.
    pub strips: usize,
    /// Those that close on themselves.
    pub closed: usize,
    /// Those at fault in any of the three ways below.
    pub spirals: usize,
    /// Those that pass one quad both along and across.
    pub self_crossings: usize,
    /// Of these, those that do so only where a guide crosses itself: no fault of theirs.
    pub drawn_crossings: usize,
    /// Those that pass through the edges of one ring more than twice.
    pub ring_recrossings: usize,
    /// Those that turn more than one and a half times round one ring in one stay near it.
    pub ring_coils: usize,
    /// Quads of the longest strip over all quads.
    pub longest_share: f64,
}

/// How one guide is followed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GuideMeasures {
    /// Its name.
    pub name: String,
    /// 95th percentile of the distance from the guide to the nearest edge, edges.
    pub distance_p95: f64,
    /// 95th percentile of the angle between the guide and the best edge beside it, deg.
    pub angle_p95_deg: f64,
    /// Edges asked for.
    pub count: Option<u32>,
    /// Edges of the closed cycle along a closed ring or opening, if there is one.
    pub cycle_length: Option<usize>,
    /// Whether the surface ends along it: along a cycle's every edge, or along 95 % of an open guide.
    pub on_boundary: bool,
    /// Interior poles on its cycle.
    pub poles: usize,
    /// How far a ring around a limb is off square to it, deg.
    pub slant_deg: Option<f64>,
}

/// Exactness of mirror symmetry.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct MirrorMeasures {
    /// Largest distance from a mirrored vertex to the nearest vertex, edges.
    pub error: f64,
    /// Faces whose mirror image is no face.
    pub faces_missing: usize,
}

/// Distances from the surface to the sculpt. Positive: outside the sculpt.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct FitMeasures {
    /// Root mean square, pct.
    pub rms_pct: f64,
    /// 99th percentile, pct.
    pub p99_pct: f64,
    /// Largest, pct.
    pub max_pct: f64,
    /// Mean with sign, pct.
    pub signed_mean_pct: f64,
    /// Largest over the vertices, pct.
    pub vertices_max_pct: f64,
    /// Mean angle between the normals, deg.
    pub normal_dev_mean_deg: f64,
    /// 95th percentile of that angle, deg.
    pub normal_dev_p95_deg: f64,
}

/// Distances from the sculpt to the surface, where the surface covers it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ReverseMeasures {
    /// Share of the sculpt's samples whose nearest point is on the surface's boundary.
    pub ignored_share: f64,
    /// 99th percentile, pct.
    pub p99_pct: f64,
    /// Largest, pct.
    pub max_pct: f64,
}

/// Evenness of edges and faces.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SizeMeasures {
    /// Mean edge length, model units.
    pub mean_edge: f64,
    /// 95th over 5th percentile of the edge lengths.
    pub edge_ratio_p95_p5: f64,
    /// Standard deviation of the faces' areas over their mean.
    pub face_area_cv: f64,
    /// Difference to the number of faces asked for, percent of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub face_count_error_pct: Option<f64>,
}

/// Shape of the quads.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ShapeMeasures {
    /// Least scaled Jacobian: 1 for a rectangle, 0 for a corner of 0° or 180°.
    pub scaled_jacobian_min: f64,
    /// First percentile of the quads' least scaled Jacobians.
    pub scaled_jacobian_p1: f64,
    /// Mean of the quads' least scaled Jacobians.
    pub scaled_jacobian_mean: f64,
    /// Mean deviation of the corner angles from 90°, deg.
    pub angle_dev_mean_deg: f64,
    /// 95th percentile of that deviation, deg.
    pub angle_dev_p95_deg: f64,
    /// 95th percentile of the larger angle between opposite corners' normals, deg.
    pub warp_p95_deg: f64,
    /// 95th percentile of the longer over the shorter middle line.
    pub aspect_p95: f64,
}

/// The fit held against decimation to the same number of vertices.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct YardstickMeasures {
    /// RMS distance sculpt to surface over RMS distance sculpt to the sculpt decimated in sweeps.
    pub rms_ratio: f64,
    /// The same over a decimation that takes the cheapest edge each time: near the best there is.
    pub rms_ratio_to_best: f64,
    /// RMS distance sculpt to the sculpt decimated in sweeps, pct.
    pub decimation_rms_pct: f64,
    /// Vertices of the decimated sculpt.
    pub decimation_vertices: usize,
}

/// Loops beside a ring.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoopMeasures {
    /// The ring.
    pub name: String,
    /// How many more than there would be.
    pub asked: u32,
    /// Closed loops without a pole on either side, no further than half as many edges as are asked,
    /// and half an edge.
    pub found: [u32; 2],
    /// How many are missing; where the surface ends beside the ring, none.
    pub short_of: u32,
}

/// Size of the quads of an area.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AreaMeasures {
    /// Its name.
    pub name: String,
    /// Quads that lie wholly in it.
    pub quads: usize,
    /// Side of a square of their mean area, model units.
    pub edge: Option<f64>,
    /// Density over that elsewhere, or edge length (model units), as asked.
    pub asked: f64,
    /// The same as found.
    pub found: Option<f64>,
}

/// Nearness of a pole to its pin.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PinMeasures {
    /// Its name.
    pub name: String,
    /// Edges that are to meet there.
    pub valence: u32,
    /// Way to the nearest pole of that valence, edges; with a plane the longer of both sides' ways.
    pub away: Option<f64>,
}

/// Poles in a keep-out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KeepOutMeasures {
    /// Its name.
    pub name: String,
    /// Poles in it.
    pub poles: usize,
}
