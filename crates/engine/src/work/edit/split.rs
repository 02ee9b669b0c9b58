//! A new vertex on an edge or in a triangle.

use super::{EditMesh, NONE};
use mesh::DVec3;

impl EditMesh {
    /// Puts a new vertex at `at` on the edge of `h`, parting one or two triangles, and
    /// returns it. `h` then runs from its old start to the new vertex. An edge with a
    /// segment is parted with it at half its length; see [`EditMesh::split_at_param`].
    pub fn split(&mut self, h: u32, at: DVec3) -> u32 {
        match self.segment_of(h) {
            Some(seg) => {
                let [from, to] = self.segments[seg as usize].params;
                self.split_at_param(h, at, from + (to - from) / 2.0)
            }
            None => self.split_edge(h, at),
        }
    }

    /// Splits an edge that carries a segment; `param` is the new vertex's place on the
    /// segment's rail, between those of the segment's ends.
    pub fn split_at_param(&mut self, h: u32, at: DVec3, param: f64) -> u32 {
        let seg = self.seg[h as usize];
        let (a, b) = (self.from(h), self.to(h));
        let new = self.split_edge(h, at);
        if seg == NONE {
            return new;
        }
        let (first, second) = self.part_segment(seg, new, param);
        let (at_a, at_b) = if self.segments[first as usize].ends.contains(&a) {
            (first, second)
        } else {
            (second, first)
        };
        self.set_segment(h, at_a);
        if let Some(rest) = self.edge_between(new, b) {
            self.set_segment(rest, at_b);
        }
        self.on_rail[new as usize] = true;
        new
    }

    /// Connectivity of a split; both halves inherit the segment's number.
    fn split_edge(&mut self, h: u32, at: DVec3) -> u32 {
        let g = self.twin[h as usize];
        let bc = Self::next(h);
        let (b, c) = (self.to(h), self.apex(h));
        let new = self.add_vertex(at);
        let seg = self.seg[h as usize];
        let three = self.add_triangle([new, b, c]);
        self.move_half_edge(bc, three + 1);
        self.tri[(h / 3) as usize][(bc % 3) as usize] = new;
        self.pair(bc, three + 2);
        self.seg[three as usize] = seg;
        if g == NONE {
            self.out[new as usize] = three;
            return new;
        }
        let (d, db) = (self.apex(g), Self::prev(g));
        let four = self.add_triangle([b, new, d]);
        self.move_half_edge(db, four + 2);
        if self.out[b as usize] == g {
            self.out[b as usize] = four;
        }
        self.tri[(g / 3) as usize][(g % 3) as usize] = new;
        self.pair(db, four + 1);
        self.pair(three, four);
        self.seg[three as usize] = seg;
        self.seg[four as usize] = seg;
        self.out[new as usize] = g;
        new
    }

    /// Adds a vertex that no triangle uses yet.
    fn add_vertex(&mut self, at: DVec3) -> u32 {
        self.pos.push(at);
        self.out.push(NONE);
        self.on_rail.push(false);
        self.pinned.push(false);
        self.pos.len() as u32 - 1
    }

    /// Adds a triangle without twins or segments; returns its first half-edge.
    fn add_triangle(&mut self, corners: [u32; 3]) -> u32 {
        self.tri.push(corners);
        self.twin.extend([NONE; 3]);
        self.seg.extend([NONE; 3]);
        3 * (self.tri.len() as u32 - 1)
    }

    /// Gives `new` the place of `old`: its twin, its segment, and its start's `out`.
    fn move_half_edge(&mut self, old: u32, new: u32) {
        let twin = self.twin[old as usize];
        self.twin[new as usize] = twin;
        if twin != NONE {
            self.twin[twin as usize] = new;
        }
        self.seg[new as usize] = self.seg[old as usize];
        let from = self.from(new) as usize;
        if self.out[from] == old {
            self.out[from] = new;
        }
    }

    /// Makes twins of two half-edges of a new edge without segment.
    fn pair(&mut self, one: u32, two: u32) {
        self.twin[one as usize] = two;
        self.twin[two as usize] = one;
        self.seg[one as usize] = NONE;
        self.seg[two as usize] = NONE;
    }
}
