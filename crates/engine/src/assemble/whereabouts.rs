//! Where a pole is, in the shape's own terms: limbs, openings, sides.
//!
//! Heights are distances along edges from the middle of the surface. Going down from the greatest,
//! pieces of the surface begin at peaks, grow and meet; a piece that stands out well above the place
//! where it meets another is a limb, the rest is the body (merge trees: Carr, Snoeyink & Axen 2003; how far a
//! peak stands out is its persistence: Edelsbrunner, Letscher & Zomorodian 2002). Sides are those of
//! the part with y up and its front to +z, as in glTF.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};

use mesh::{DVec3, Polyline, QuadMesh, QuadTopology};

use crate::model::{Guide, GuideKind, Plane};

/// How far a limb stands out at least, as a share of the greatest height.
const STANDS_OUT: f64 = 0.2;
/// Places far from each other, from which the middle is told.
const FAR_PLACES: usize = 4;
/// Curvature around a pole, radians, beyond which it is called a rounding or a saddle: a pole of three
/// or five that is due to the shape has about π/2 of it.
const CURVED: f64 = 0.5;
/// Steps that a flow is followed.
const FAR: usize = 4096;

/// What juts out of a surface.
struct Limb {
    name: String,
    /// Its vertices by rising height, and sums of their places before each.
    heights: Vec<f64>,
    sums: Vec<DVec3>,
}

/// A surface in terms of its shape.
pub(super) struct Shape<'a> {
    mesh: &'a QuadMesh,
    topology: &'a QuadTopology,
    /// The neighbours of each vertex.
    around: Vec<Vec<u32>>,
    /// The corners that begin at each vertex.
    corners: Vec<Vec<u32>>,
    heights: Vec<f64>,
    limbs: Vec<Limb>,
    limb_of: Vec<Option<usize>>,
    /// Names of openings, and which each vertex of the boundary is at.
    openings: Vec<String>,
    opening_of: Vec<Option<usize>>,
    bounds: (DVec3, DVec3),
    edge: f64,
}

impl<'a> Shape<'a> {
    /// Takes a surface in; `edge` is its quads' edge length. Cost n log n.
    pub fn of(
        mesh: &'a QuadMesh,
        topology: &'a QuadTopology,
        guides: &[Guide],
        plane: Option<Plane>,
        edge: f64,
    ) -> Self {
        let count = mesh.positions.len();
        let mut around = vec![Vec::new(); count];
        for &[a, b] in &topology.edges {
            around[a as usize].push(b);
            around[b as usize].push(a);
        }
        let mut corners = vec![Vec::new(); count];
        for (corner, &v) in (0..).zip(mesh.quads.as_flattened()) {
            corners[v as usize].push(corner);
        }
        let low = mesh.positions.iter().copied().reduce(DVec3::min);
        let high = mesh.positions.iter().copied().reduce(DVec3::max);
        let mut shape = Self {
            mesh,
            topology,
            around,
            corners,
            heights: Vec::new(),
            limbs: Vec::new(),
            limb_of: vec![None; count],
            openings: Vec::new(),
            opening_of: vec![None; count],
            bounds: (low.unwrap_or_default(), high.unwrap_or_default()),
            edge,
        };
        shape.name_openings(guides, plane);
        shape.heights = shape.above_middle(plane);
        let found = shape.juts_out();
        shape.name_limbs(&found);
        shape
    }

    /// Where flows from a vertex come from: openings, limbs, the body; not where it lies itself.
    pub fn flows_at(&self, vertex: u32) -> Vec<String> {
        let own = self.region(vertex);
        let ends = self.corners[vertex as usize].iter();
        let ends = ends.map(|&corner| self.region(self.end_of_flow(corner)));
        let all: BTreeSet<String> = ends.filter(|end| *end != own).collect();
        all.into_iter().collect()
    }

    /// Where a vertex lies: on what, how far along it, on which side of it, and how the shape bends there.
    pub fn place(&self, vertex: u32) -> String {
        let at = self.mesh.positions[vertex as usize];
        let on = match self.limb_of[vertex as usize] {
            Some(limb) => {
                let limb = &self.limbs[limb];
                let height = self.heights[vertex as usize];
                let share = limb.share(height);
                let how_far = match share {
                    s if s > 0.75 => "near its end",
                    s if s < 0.25 => "near its root",
                    _ => "half way along",
                };
                let side = side_word(limb.offset(at, height, self.edge));
                format!("on {}, {how_far}, on its {side}", limb.name)
            }
            None if self.limbs.is_empty() => format!("at the {} of the part", self.sides(at)),
            None => format!("on the body, at the {} of the part", self.sides(at)),
        };
        let bend = self
            .curvature(vertex)
            .map_or("", |curvature| match curvature {
                k if k > CURVED => ", where the shape rounds",
                k if k < -CURVED => ", where the shape is a saddle",
                _ => "",
            });
        format!("{on}{bend}")
    }

    /// What a vertex lies on, as a name.
    fn region(&self, vertex: u32) -> String {
        if let Some(opening) = self.opening_of[vertex as usize] {
            return self.openings[opening].clone();
        }
        match self.limb_of[vertex as usize] {
            Some(limb) => self.limbs[limb].name.clone(),
            None => "the body".to_owned(),
        }
    }

    /// The last vertex of the run of edges that goes straight on from a corner: at a pole, at a boundary,
    /// or after very many.
    fn end_of_flow(&self, mut corner: u32) -> u32 {
        let next = |corner: u32| corner / 4 * 4 + (corner + 1) % 4;
        let mut to = self.vertex(next(corner));
        for _ in 0..FAR {
            let (boundary, valence) = (&self.topology.on_boundary, &self.topology.valence);
            if boundary[to as usize] || valence[to as usize] != 4 {
                break;
            }
            // Of four edges the one after the next is straight on.
            let Some(across) = self.topology.twin[next(corner) as usize] else {
                break;
            };
            corner = next(across);
            to = self.vertex(next(corner));
        }
        to
    }

    /// The vertex at which a corner begins.
    fn vertex(&self, corner: u32) -> u32 {
        self.mesh.quads[corner as usize / 4][corner as usize % 4]
    }

    /// Curvature of the quads around a vertex and its neighbours, radians; `None` at boundaries.
    fn curvature(&self, vertex: u32) -> Option<f64> {
        let mut inner = vec![vertex];
        inner.extend(&self.around[vertex as usize]);
        let mut sum = 0.0;
        for v in inner {
            if self.topology.on_boundary[v as usize] {
                return None;
            }
            let angles = self.corners[v as usize].iter();
            let angles: f64 = angles.map(|&corner| self.angle(corner)).sum();
            sum += std::f64::consts::TAU - angles;
        }
        Some(sum)
    }

    /// Angle of a quad at a corner, radians.
    fn angle(&self, corner: u32) -> f64 {
        let quad = self.mesh.quads[corner as usize / 4];
        let at = |step: u32| self.mesh.positions[quad[((corner + step) % 4) as usize] as usize];
        (at(1) - at(0)).angle_between(at(3) - at(0))
    }

    /// A place by the sides of the part that it is near.
    fn sides(&self, at: DVec3) -> String {
        let (low, high) = self.bounds;
        let share = (at - low) / (high - low).max(DVec3::splat(f64::MIN_POSITIVE));
        let third = |share: f64, words: [&'static str; 2]| match share {
            s if s < 1.0 / 3.0 => Some(words[0]),
            s if s > 2.0 / 3.0 => Some(words[1]),
            _ => None,
        };
        let [y, x, z] = [
            third(share.y, ["lower", "upper"]),
            third(share.x, ["right", "left"]),
            third(share.z, ["back", "front"]),
        ];
        match (y, x, z) {
            (None, None, None) => "middle".to_owned(),
            (Some("lower"), None, None) => "bottom".to_owned(),
            (Some(_), None, None) => "top".to_owned(),
            _ => [y, x, z]
                .into_iter()
                .flatten()
                .collect::<Vec<_>>()
                .join(" "),
        }
    }

    /// Gives each boundary loop the name of the opening that runs along it, or one by its place.
    fn name_openings(&mut self, guides: &[Guide], plane: Option<Plane>) {
        let openings = guides.iter().filter(|g| g.kind == GuideKind::Opening);
        let mut known: Vec<(String, Polyline)> = Vec::new();
        for guide in openings {
            let name = format!("'{}'", guide.name);
            let (points, closed) = (guide.points.clone(), guide.closed);
            known.push((name.clone(), Polyline { points, closed }));
            if let Some(plane) = plane {
                let points = guide.points.iter().map(|&p| plane.mirror(p)).collect();
                known.push((format!("the image of {name}"), Polyline { points, closed }));
            }
        }
        let mut names = Vec::new();
        for (number, rim) in self.topology.boundary_loops().iter().enumerate() {
            let places = || rim.iter().map(|&v| self.mesh.positions[v as usize]);
            // An opening may be drawn in pieces: it is enough that one lies on a part of the rim.
            let off = |line: &Polyline| {
                let off = places().filter_map(|p| Some(line.nearest(p)?.distance));
                off.fold(f64::INFINITY, f64::min)
            };
            let along = known.iter().map(|(name, line)| (off(line), name));
            // Of a drawing and an image that are both on it the drawing comes first.
            let nearest = along.filter(|(off, _)| *off < 0.5 * self.edge);
            let nearest = nearest.min_by(|a, b| a.0.total_cmp(&b.0));
            let middle = places().sum::<DVec3>() / rim.len().max(1) as f64;
            names.push(nearest.map_or_else(
                || format!("the edge at the {}", self.sides(middle)),
                |(_, name)| name.clone(),
            ));
            for &v in rim {
                self.opening_of[v as usize] = Some(number);
            }
        }
        self.openings = names;
    }

    /// Heights of all vertices above the middle: of vertices on the plane, if there are any, the one that
    /// is least far from the far places.
    fn above_middle(&self, plane: Option<Plane>) -> Vec<f64> {
        let count = self.mesh.positions.len();
        let Some(first) = (0..count).find(|&v| !self.around[v].is_empty()) else {
            return vec![0.0; count];
        };
        let reached = |distance: f64| if distance.is_finite() { distance } else { 0.0 };
        let mut nearest = self.distances(first as u32);
        let mut farthest = vec![0.0_f64; count];
        for _ in 0..FAR_PLACES {
            let far = (0..count).max_by(|&a, &b| {
                let by_distance = reached(nearest[a]).total_cmp(&reached(nearest[b]));
                by_distance.then(b.cmp(&a))
            });
            let from = self.distances(far.unwrap_or(first) as u32);
            for v in 0..count {
                nearest[v] = nearest[v].min(from[v]);
                farthest[v] = farthest[v].max(reached(from[v]));
            }
        }
        let on_plane = |v: &usize| {
            let at = self.mesh.positions[*v];
            plane.is_some_and(|plane| plane.height(at).abs() <= 1e-6 * self.edge)
        };
        let used = (0..count).filter(|&v| !self.around[v].is_empty());
        let central: Vec<usize> = used.clone().filter(on_plane).collect();
        let central = if central.is_empty() {
            used.collect()
        } else {
            central
        };
        let middle = central
            .into_iter()
            .min_by(|&a, &b| farthest[a].total_cmp(&farthest[b]));
        let heights = self.distances(middle.unwrap_or(first) as u32);
        heights.into_iter().map(reached).collect()
    }

    /// Distances along edges; infinite where edges don't lead.
    fn distances(&self, from: u32) -> Vec<f64> {
        let mut distances = vec![f64::INFINITY; self.mesh.positions.len()];
        distances[from as usize] = 0.0;
        // Distances aren't negative: their bits have their order.
        let mut queue = BinaryHeap::from([Reverse((0.0_f64.to_bits(), from))]);
        while let Some(Reverse((bits, v))) = queue.pop() {
            let distance = f64::from_bits(bits);
            if distance > distances[v as usize] {
                continue;
            }
            for &next in &self.around[v as usize] {
                let [a, b] = [v, next].map(|v| self.mesh.positions[v as usize]);
                let there = distance + a.distance(b);
                if there < distances[next as usize] {
                    distances[next as usize] = there;
                    queue.push(Reverse((there.to_bits(), next)));
                }
            }
        }
        distances
    }

    /// Vertices of each limb, highest first.
    fn juts_out(&self) -> Vec<Vec<u32>> {
        let greatest = self.heights.iter().copied().fold(0.0, f64::max);
        let height = |v: u32| self.heights[v as usize];
        let mut order: Vec<u32> = (0..self.heights.len() as u32)
            .filter(|&v| !self.around[v as usize].is_empty())
            .collect();
        order.sort_by(|&a, &b| height(b).total_cmp(&height(a)).then(a.cmp(&b)));
        let mut pieces: Vec<Piece> = Vec::new();
        let mut piece_of = vec![usize::MAX; self.heights.len()];
        let mut limbs = Vec::new();
        for v in order {
            let near = self.around[v as usize].iter();
            let near = near.filter(|&&n| piece_of[n as usize] != usize::MAX);
            let near: BTreeSet<usize> = near
                .map(|&n| root(&mut pieces, piece_of[n as usize]))
                .collect();
            let mut near: Vec<usize> = near.into_iter().collect();
            // The one with the highest peak takes in the others.
            near.sort_by(|&a, &b| pieces[b].peak.total_cmp(&pieces[a].peak).then(a.cmp(&b)));
            let Some((&first, others)) = near.split_first() else {
                piece_of[v as usize] = pieces.len();
                pieces.push(Piece {
                    parent: pieces.len(),
                    peak: height(v),
                    vertices: vec![v],
                    is_body: false,
                });
                continue;
            };
            let stands_out =
                |piece: &Piece| !piece.is_body && piece.peak - height(v) >= STANDS_OUT * greatest;
            let meets = |piece: &Piece| piece.is_body || stands_out(piece);
            for &other in others {
                if stands_out(&pieces[other]) && meets(&pieces[first])
                    || pieces[other].is_body && stands_out(&pieces[first])
                {
                    for piece in [first, other] {
                        let piece = &mut pieces[piece];
                        if !std::mem::replace(&mut piece.is_body, true) {
                            limbs.push(std::mem::take(&mut piece.vertices));
                        }
                    }
                }
                let mut taken = std::mem::take(&mut pieces[other].vertices);
                if taken.len() > pieces[first].vertices.len() {
                    std::mem::swap(&mut taken, &mut pieces[first].vertices);
                }
                let body = pieces[other].is_body;
                pieces[other].parent = first;
                pieces[first].is_body |= body;
                if pieces[first].is_body {
                    pieces[first].vertices.clear();
                } else {
                    pieces[first].vertices.extend(taken);
                }
            }
            piece_of[v as usize] = first;
            if !pieces[first].is_body {
                pieces[first].vertices.push(v);
            }
        }
        limbs
    }

    /// Names limbs after the openings in which they end, or by where they end.
    fn name_limbs(&mut self, found: &[Vec<u32>]) {
        let mut ends: Vec<(String, DVec3)> = Vec::new();
        for (number, vertices) in found.iter().enumerate() {
            let mut rising = vertices.clone();
            rising.sort_by(|&a, &b| {
                let height = |v: u32| self.heights[v as usize];
                height(a).total_cmp(&height(b)).then(a.cmp(&b))
            });
            let mut sums = vec![DVec3::ZERO];
            for &v in &rising {
                self.limb_of[v as usize] = Some(number);
                sums.push(sums[sums.len() - 1] + self.mesh.positions[v as usize]);
            }
            let tip = rising
                .last()
                .map_or(DVec3::ZERO, |&v| self.mesh.positions[v as usize]);
            let opening = rising
                .iter()
                .rev()
                .find_map(|&v| self.opening_of[v as usize]);
            let name = match opening {
                Some(opening) => format!("the limb that ends at {}", self.openings[opening]),
                None => format!("the limb that ends at the {}", self.sides(tip)),
            };
            ends.push((name.clone(), tip));
            let heights = rising.iter().map(|&v| self.heights[v as usize]);
            self.limbs.push(Limb {
                name,
                heights: heights.collect(),
                sums,
            });
        }
        for (limb, name) in self.limbs.iter_mut().zip(told_apart(&ends)) {
            limb.name = name;
        }
    }
}

/// A piece of the surface above a height, while that goes down.
struct Piece {
    parent: usize,
    peak: f64,
    /// Those of a piece that is no body.
    vertices: Vec<u32>,
    is_body: bool,
}

fn root(pieces: &mut [Piece], mut piece: usize) -> usize {
    while pieces[piece].parent != piece {
        pieces[piece].parent = pieces[pieces[piece].parent].parent;
        piece = pieces[piece].parent;
    }
    piece
}

impl Limb {
    /// How far towards its end a height is, from 0 to 1.
    fn share(&self, height: f64) -> f64 {
        match (self.heights.first(), self.heights.last()) {
            (Some(low), Some(high)) if high > low => (height - low) / (high - low),
            _ => 0.0,
        }
    }

    /// How far a place at a height is from the limb's middle, square to the way that it runs.
    fn offset(&self, at: DVec3, height: f64, edge: f64) -> DVec3 {
        let within = 1.5 * edge;
        let Some(here) = self.middle(height, within) else {
            return DVec3::ZERO;
        };
        let before = self.middle(height - 2.0 * within, within);
        let after = self.middle(height + 2.0 * within, within);
        let way = after.unwrap_or(here) - before.unwrap_or(here);
        (at - here).reject_from(way.normalize_or(DVec3::Y))
    }

    /// The middle of its vertices within a distance of a height, if there are any.
    fn middle(&self, height: f64, within: f64) -> Option<DVec3> {
        let from = self.heights.partition_point(|&h| h < height - within);
        let to = self.heights.partition_point(|&h| h <= height + within);
        (to > from).then(|| (self.sums[to] - self.sums[from]) / (to - from) as f64)
    }
}

/// The side of something to which an offset from its middle leads.
fn side_word(offset: DVec3) -> &'static str {
    let long = offset.abs();
    let (high, words) = if long.y >= long.x && long.y >= long.z {
        (offset.y > 0.0, ["lower side", "upper side"])
    } else if long.x >= long.z {
        (offset.x > 0.0, ["right side", "left side"])
    } else {
        (offset.z > 0.0, ["back", "front"])
    };
    words[usize::from(high)]
}

/// Texts that are alike get numbers along the direction in which their places differ most.
pub(super) fn told_apart(texts: &[(String, DVec3)]) -> Vec<String> {
    let mut order: Vec<usize> = (0..texts.len()).collect();
    order.sort_by(|&a, &b| texts[a].0.cmp(&texts[b].0).then(a.cmp(&b)));
    let mut told: Vec<String> = texts.iter().map(|(text, _)| text.clone()).collect();
    for alike in order.chunk_by(|&a, &b| texts[a].0 == texts[b].0) {
        if alike.len() < 2 {
            continue;
        }
        let places = || alike.iter().map(|&i| texts[i].1);
        let low = places().fold(DVec3::INFINITY, DVec3::min);
        let high = places().fold(DVec3::NEG_INFINITY, DVec3::max);
        let spread = high - low;
        let (axis, from) = if spread.y >= spread.x && spread.y >= spread.z {
            (DVec3::Y, "from above")
        } else if spread.x >= spread.z {
            (DVec3::X, "from the left")
        } else {
            (DVec3::Z, "from the front")
        };
        let mut ranked = alike.to_vec();
        ranked.sort_by(|&a, &b| {
            let along = |i: usize| texts[i].1.dot(axis);
            along(b).total_cmp(&along(a)).then(a.cmp(&b))
        });
        for (number, &i) in (1..).zip(&ranked) {
            told[i] = format!("{} ({number} of {} {from})", texts[i].0, alike.len());
        }
    }
    told
}
