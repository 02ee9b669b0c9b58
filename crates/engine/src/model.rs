//! The types that stages hand to each other.

use std::sync::Arc;

use mesh::{DVec3, SurfaceIndex, TriMesh, Vec3};

/// A welded, oriented, manifold sculpt with its spatial index. Never modified.
#[derive(Clone, Debug)]
pub struct Sculpt {
    /// Triangles, anticlockwise seen from outside; model units.
    pub mesh: Arc<TriMesh>,
    /// Closest points and rays on `mesh`.
    pub index: Arc<SurfaceIndex>,
    /// Unit vertex normals of `mesh`, weighted by area.
    pub normals: Arc<Vec<Vec3>>,
}

/// A mirror plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plane {
    /// A point on the plane, model units.
    pub origin: DVec3,
    /// Unit normal; the half that the engine works on is the one it points to.
    pub normal: DVec3,
}

impl Plane {
    /// Signed height over the plane, model units.
    pub fn height(&self, p: DVec3) -> f64 {
        (p - self.origin).dot(self.normal)
    }

    /// The mirror image of a point. For a coordinate plane through the origin the
    /// image is exact: one coordinate changes its sign and nothing else.
    pub fn mirror(&self, p: DVec3) -> DVec3 {
        if self.origin == DVec3::ZERO {
            for axis in [DVec3::X, DVec3::Y, DVec3::Z] {
                if self.normal == axis || self.normal == -axis {
                    return p * (DVec3::ONE - 2.0 * axis);
                }
            }
        }
        p - 2.0 * self.height(p) * self.normal
    }

    /// The nearest point on the plane.
    pub fn project(&self, p: DVec3) -> DVec3 {
        if self.origin == DVec3::ZERO {
            for axis in [DVec3::X, DVec3::Y, DVec3::Z] {
                if self.normal == axis || self.normal == -axis {
                    return p * (DVec3::ONE - axis);
                }
            }
        }
        p - self.height(p) * self.normal
    }
}

/// What a guide asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuideKind {
    /// A closed run of edges across or around something.
    Ring,
    /// A run of edges: a seam, a placket, a flow line.
    Line,
    /// The surface ends here.
    Opening,
    /// Held quads begin here, on the left; no guide of a job has this kind.
    Hold,
}

/// A guide as the artist drew it.
#[derive(Clone, Debug, PartialEq)]
pub struct Guide {
    /// Its name in the job file, unique.
    pub name: String,
    /// What it asks for.
    pub kind: GuideKind,
    /// Whether the last point joins the first.
    pub closed: bool,
    /// Quads along the whole guide, where promised.
    pub count: Option<u32>,
    /// Drawn points, model units, near the sculpt.
    pub points: Vec<DVec3>,
}

/// Quads of an earlier run that stay bit for bit as they are.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hold {
    /// Its name in the job file, unique among holds.
    pub name: String,
    /// Vertices, model units; of the kept half only, if there is a mirror plane.
    pub positions: Vec<DVec3>,
    /// Quads, anticlockwise seen from outside: indices into `positions`.
    pub quads: Vec<[u32; 4]>,
    /// Edges at which the rest of the surface goes on.
    pub rim: Vec<[u32; 2]>,
}

/// A part of the surface that the artist marked.
#[derive(Clone, Debug, PartialEq)]
pub enum Region {
    /// What a closed outline on the sculpt encloses: the smaller side of it.
    Outline(Vec<DVec3>),
    /// What lies within a distance of a point and hangs together with it.
    Around {
        /// The point, model units.
        at: DVec3,
        /// The distance, model units.
        reach: f64,
    },
}

/// Size of the quads of an area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AreaSize {
    /// Quads along a length, over how many there would be.
    Density(f64),
    /// Edge length, model units.
    Edge(f64),
}

/// A part of the surface with quads of another size.
#[derive(Clone, Debug, PartialEq)]
pub struct Area {
    /// Its name in the job file, unique among areas.
    pub name: String,
    /// Where.
    pub region: Region,
    /// What size.
    pub size: AreaSize,
}

/// Closed loops beside a ring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ExtraLoops {
    /// The ring: index into the job's guides.
    pub guide: usize,
    /// How many more than there would be. As many lie on either side, half as far apart as quads
    /// elsewhere.
    pub loops: u32,
}

/// A pole wanted at a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// Its name in the job file, unique among pins.
    pub name: String,
    /// Where, model units.
    pub at: DVec3,
    /// Edges that meet there, 3 or 5.
    pub valence: u32,
}

/// What poles are kept out of.
#[derive(Clone, Debug, PartialEq)]
pub enum KeepOutPlace {
    /// A guide and what lies within some quads of it.
    Guide {
        /// Index into the job's guides.
        guide: usize,
        /// Quads on either side.
        reach: f64,
    },
    /// A part of the surface.
    Region(Region),
}

/// A place without poles.
#[derive(Clone, Debug, PartialEq)]
pub struct KeepOut {
    /// Its name in the job file, unique among keep-outs.
    pub name: String,
    /// Where.
    pub place: KeepOutPlace,
}

/// What the artist asks of the surface beside guides and their counts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Intent {
    /// Loops beside rings.
    pub loops: Vec<ExtraLoops>,
    /// Areas of other density.
    pub areas: Vec<Area>,
    /// Poles wanted.
    pub pins: Vec<Pin>,
    /// Places without poles.
    pub keep_outs: Vec<KeepOut>,
}

/// Where an open curve ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveEnd {
    /// In the open, on the surface.
    Free,
    /// On the mirror plane.
    Plane,
}

/// A count that curves keep together: all that carry the same share.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    /// The guide that they are pieces of: index into the job's list.
    pub guide: usize,
    /// Quads along all of them within the half.
    pub count: u32,
}

/// A guide snapped to the sculpt, in the half that the engine works on.
///
/// A guide that crosses the plane gives its part on the kept side; guides drawn
/// on both sides give one curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// Guides of the job that this curve stands for: indices into the job's list.
    pub guides: Vec<usize>,
    /// What it asks for.
    pub kind: GuideKind,
    /// Whether it closes on itself within the half.
    pub closed: bool,
    /// Both ends of an open curve; unused for a closed one.
    pub ends: [CurveEnd; 2],
    /// Quads along this curve within the half, where promised.
    pub count: Option<u32>,
    /// Counts of guides that this curve is only a piece of.
    pub shares: Vec<Share>,
    /// Whether held quads have a part of the guide that it stands for; its count is that of the rest.
    pub partly_held: bool,
    /// Of a side of a held region's rim: that it doesn't turn, and the quarter turns that the rest of
    /// the surface has at its first and last point, where held quads tell. None for other curves.
    pub side: Option<[Option<u8>; 2]>,
    /// Densely spaced points on the sculpt, model units; closed curves don't repeat the first.
    pub points: Vec<DVec3>,
    /// Where vertices should lie instead, one for each point: half way between the drawings on both
    /// sides of the plane. Empty for the points themselves.
    pub aims: Vec<DVec3>,
}

/// What a chain of work-surface edges stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChainSource {
    /// A curve: index into the list of curves.
    Curve(usize),
    /// The cut along the mirror plane.
    Plane,
    /// A boundary of the sculpt that no guide names.
    Boundary,
}

/// A run of work-surface edges that the finished surface must follow.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    /// What it stands for.
    pub source: ChainSource,
    /// Whether the last vertex joins the first.
    pub closed: bool,
    /// Work-surface vertices in order, each at most once; neighbours share an edge.
    pub vertices: Vec<u32>,
}

/// A reduced, clean triangle mesh of the (half) sculpt with every guide among its edges.
///
/// Manifold, oriented, one piece or several; every boundary edge belongs to
/// exactly one chain; chains meet only in vertices.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WorkSurface {
    /// Vertex positions on the sculpt, model units.
    pub positions: Vec<DVec3>,
    /// Triangles, anticlockwise seen from outside.
    pub triangles: Vec<[u32; 3]>,
    /// Guides, plane and boundaries as edge chains.
    pub chains: Vec<Chain>,
    /// Mean edge length that the surface was made for, model units.
    pub edge: f64,
}
