//! Drawing an edge together to one vertex.

use super::{EditMesh, NONE};
use mesh::DVec3;

/// Cosine between a vertex's normal and one of its triangles on a crest (41°).
const CREASED: f64 = 0.75;

/// What is around a vertex, met once and looked at often; only what goes beyond the usual is allocated.
struct Few<T> {
    first: [T; 12],
    count: usize,
    rest: Vec<T>,
}

impl<T: Copy> Few<T> {
    fn of(all: impl Iterator<Item = T>, nothing: T) -> Self {
        let mut few = Self {
            first: [nothing; 12],
            count: 0,
            rest: Vec::new(),
        };
        for one in all {
            match few.first.get_mut(few.count) {
                Some(place) => *place = one,
                None => few.rest.push(one),
            }
            few.count += 1;
        }
        few
    }

    fn iter(&self) -> impl Iterator<Item = &T> {
        let first = self.first.iter().take(self.count);
        first.chain(&self.rest)
    }
}

/// A collapse that was found to be allowed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Collapse {
    /// A half-edge of the edge.
    pub half_edge: u32,
    /// The end that goes away; the other stays.
    pub gone: u32,
    /// New place of the vertex that stays.
    pub at: DVec3,
    /// New arc length of the vertex that stays, on the segment of the edge, if both ends
    /// may slide along its rail.
    pub param: Option<f64>,
}

impl EditMesh {
    /// Whether collapsing `h` keeps the surface a manifold of the same kind: the link
    /// condition of Dey, Edelsbrunner, Guha & Nekhayev (1999, "Topology preserving edge
    /// contraction"), with the boundary closed by a cone.
    pub fn link_allows(&self, h: u32) -> bool {
        let (a, b) = (self.from(h), self.to(h));
        let g = self.twin[h as usize];
        let c = self.apex(h);
        let d = if g == NONE { NONE } else { self.apex(g) };
        if g != NONE && self.on_boundary(a) && self.on_boundary(b) {
            return false;
        }
        // No ear that would be left as a bare edge, no tetrahedron folded flat.
        for (side, apex) in [(h, c), (g, d)] {
            if side == NONE {
                continue;
            }
            let (one, two) = (
                self.twin[Self::next(side) as usize],
                self.twin[Self::prev(side) as usize],
            );
            if one == NONE && two == NONE {
                return false;
            }
            // Two edges, or three where no boundary passes.
            let most = if self.on_boundary(apex) { 1 } else { 3 };
            if self.outgoing(apex).nth(most).is_none() {
                return false;
            }
        }
        let beside = Few::of(self.neighbours(b), NONE);
        self.neighbours(a)
            .all(|x| x == b || x == c || x == d || !beside.iter().any(|&y| y == x))
    }

    /// Whether the two edges that fall together on either side could both keep their segments.
    fn segments_allow(&self, h: u32) -> bool {
        [h, self.twin[h as usize]]
            .into_iter()
            .filter(|&s| s != NONE)
            .all(|side| {
                self.seg[Self::next(side) as usize] == NONE
                    || self.seg[Self::prev(side) as usize] == NONE
            })
    }

    /// The way in which an edge may be collapsed, if any: a vertex at a rail's end or where
    /// rails meet never moves, one inside a rail moves along it, and no edge joins two
    /// rails. `place` gives the point of a rail at an arc length. Says nothing of shapes.
    pub fn plan_collapse(&self, h: u32, place: impl Fn(u32, f64) -> DVec3) -> Option<Collapse> {
        let (a, b) = (self.from(h), self.to(h));
        let (pa, pb) = (self.pos[a as usize], self.pos[b as usize]);
        let merge = |gone: u32, at: DVec3, param: Option<f64>| Collapse {
            half_edge: h,
            gone,
            at,
            param,
        };
        let plan = match (
            self.segment_of(h),
            self.on_rail[a as usize],
            self.on_rail[b as usize],
        ) {
            (None, true, true) => return None,
            (None, false, false) => merge(a, (pa + pb) / 2.0, None),
            (None, false, true) => merge(a, pb, None),
            (None, true, false) => merge(b, pa, None),
            (Some(seg), _, _) => {
                let segment = &self.segments[seg as usize];
                match (self.inside_rail(a), self.inside_rail(b)) {
                    (Some(_), Some(_)) => {
                        let middle = (segment.params[0] + segment.params[1]) / 2.0;
                        merge(a, place(segment.rail, middle), Some(middle))
                    }
                    (Some(_), None) => merge(a, pb, None),
                    (None, Some(_)) => merge(b, pa, None),
                    (None, None) => return None,
                }
            }
        };
        (self.segments_allow(h) && self.link_allows(h)).then_some(plan)
    }

    /// The same collapse, to the end that lies on a crest if only one does and no rail says
    /// otherwise. Midpoints would wear sharp folds down, a little with each collapse.
    pub fn on_crest(&self, mut plan: Collapse) -> Collapse {
        let ends = [self.from(plan.half_edge), self.to(plan.half_edge)];
        if ends.iter().all(|&v| !self.on_rail[v as usize]) {
            match ends.map(|v| self.is_creased(v)) {
                [true, false] => plan.at = self.pos[ends[0] as usize],
                [false, true] => plan.at = self.pos[ends[1] as usize],
                _ => {}
            }
        }
        plan
    }

    /// Whether the triangles at a vertex face so differently that it lies on a crest.
    fn is_creased(&self, v: u32) -> bool {
        let around = self.outgoing(v).map(|h| self.area_normal((h / 3) as usize));
        let around = Few::of(around, DVec3::ZERO);
        let mean = around.iter().sum::<DVec3>().normalize_or_zero();
        let turned = |normal: &DVec3| normal.dot(mean) < CREASED * normal.length();
        around.iter().any(turned)
    }

    /// Does a collapse that [`EditMesh::plan_collapse`] allowed on the mesh as it is now.
    pub fn collapse(&mut self, plan: Collapse) {
        let h = plan.half_edge;
        let g = self.twin[h as usize];
        let a = plan.gone;
        let b = if self.from(h) == a {
            self.to(h)
        } else {
            self.from(h)
        };
        if let Some(seg) = self.segment_of(h) {
            self.shorten_rail(seg, a, b, plan.param);
        }
        let corners: Vec<u32> = self.outgoing(a).collect();
        for out in corners {
            self.tri[(out / 3) as usize][(out % 3) as usize] = b;
        }
        self.pos[b as usize] = plan.at;
        let apexes = [h, g].map(|side| if side == NONE { NONE } else { self.apex(side) });
        let mut around_b = NONE;
        for (side, apex) in [h, g].into_iter().zip(apexes) {
            if side != NONE {
                around_b = self.drop_triangle(side, apex, around_b);
            }
        }
        self.settle_out(b, around_b);
        self.out[a as usize] = NONE;
    }

    /// Takes a triangle away beside a collapsed side and joins its other two edges.
    /// Returns a half-edge out of the vertex that stays.
    fn drop_triangle(&mut self, side: u32, apex: u32, around_b: u32) -> u32 {
        let (next, prev) = (Self::next(side), Self::prev(side));
        let (one, two) = (self.twin[next as usize], self.twin[prev as usize]);
        let seg = if self.seg[next as usize] == NONE {
            self.seg[prev as usize]
        } else {
            self.seg[next as usize]
        };
        for (x, y) in [(one, two), (two, one)] {
            if x != NONE {
                self.twin[x as usize] = y;
                self.seg[x as usize] = seg;
            }
        }
        self.tri[(side / 3) as usize] = [NONE; 3];
        // Of the edge apex–b one half-edge leaves the apex and one leaves b; on a
        // boundary only one of them exists and the vertex's fan gives the other.
        let (mut from_apex, mut from_b) = (NONE, around_b);
        for x in [one, two] {
            if x == NONE {
                continue;
            }
            if self.from(x) == apex {
                from_apex = x;
                if from_b == NONE {
                    from_b = Self::next(x);
                }
            } else {
                from_b = x;
                if from_apex == NONE {
                    from_apex = Self::next(x);
                }
            }
        }
        self.settle_out(apex, from_apex);
        from_b
    }

    /// Takes the segment of an edge a–b out of its rail, with `b` staying.
    fn shorten_rail(&mut self, seg: u32, a: u32, b: u32, param: Option<f64>) {
        let gone = self.segments[seg as usize];
        let a_first = gone.ends[0] == a;
        let [at_a, at_b] = if a_first {
            gone.params
        } else {
            [gone.params[1], gone.params[0]]
        };
        let target = param.unwrap_or(at_b);
        let beyond = |mesh: &Self, v: u32| {
            let own: Vec<u32> = mesh
                .rail_edges(v)
                .map(|(_, s)| s)
                .filter(|&s| s != seg)
                .collect();
            own.into_iter()
                .find(|&s| mesh.segments[s as usize].rail == gone.rail)
        };
        if let Some(other) = beyond(self, a) {
            let segment = &mut self.segments[other as usize];
            let end = usize::from(segment.ends[1] == a);
            segment.ends[end] = b;
            segment.params[end] += target - at_a;
        }
        if param.is_some()
            && let Some(other) = beyond(self, b)
        {
            let segment = &mut self.segments[other as usize];
            let end = usize::from(segment.ends[1] == b);
            segment.params[end] += target - at_b;
        }
        self.segments[seg as usize].rail = NONE;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_keeps_all_in_their_order_however_many() {
        for count in [0u32, 1, 12, 13, 40] {
            let few = Few::of(0..count, NONE);
            assert!(few.iter().copied().eq(0..count), "{count}");
        }
    }
}
