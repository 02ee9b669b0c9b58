//! Pieces of rails that mesh edges lie on.

use super::{EditMesh, NONE};

/// What one edge covers of a rail. Segments are shared by both half-edges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Segment {
    /// Index of the rail, `NONE` when the segment isn't in use.
    pub rail: u32,
    /// Vertices at both ends, in the rail's direction.
    pub ends: [u32; 2],
    /// Arc length along the rail at both ends, rising; on a closed rail the second may
    /// exceed the rail's length.
    pub params: [f64; 2],
}

impl EditMesh {
    /// Makes an edge part of a rail. `ends` and `params` as in [`Segment`].
    pub fn tag_edge(&mut self, h: u32, rail: u32, ends: [u32; 2], params: [f64; 2]) {
        let seg = self.segments.len() as u32;
        self.segments.push(Segment { rail, ends, params });
        self.set_segment(h, seg);
        for v in ends {
            self.on_rail[v as usize] = true;
        }
    }

    /// Gives both half-edges of an edge a segment.
    pub(super) fn set_segment(&mut self, h: u32, seg: u32) {
        self.seg[h as usize] = seg;
        let twin = self.twin[h as usize];
        if twin != NONE {
            self.seg[twin as usize] = seg;
        }
    }

    /// Parts a segment at a new vertex and returns both pieces in the rail's direction.
    pub(super) fn part_segment(&mut self, seg: u32, vertex: u32, param: f64) -> (u32, u32) {
        let Segment { rail, ends, params } = self.segments[seg as usize];
        let rest = self.segments.len() as u32;
        self.segments.push(Segment {
            rail,
            ends: [vertex, ends[1]],
            params: [param, params[1]],
        });
        self.segments[seg as usize] = Segment {
            rail,
            ends: [ends[0], vertex],
            params: [params[0], param],
        };
        (seg, rest)
    }

    /// Edges with segments at a vertex, as half-edges with their segments.
    pub fn rail_edges(&self, vertex: u32) -> impl Iterator<Item = (u32, u32)> + '_ {
        let mine = if self.on_rail[vertex as usize] {
            self.out[vertex as usize]
        } else {
            NONE
        };
        let first = (mine != NONE).then_some(vertex);
        first.into_iter().flat_map(move |v| {
            self.outgoing(v).flat_map(move |h| {
                let prev = Self::prev(h);
                let last = (self.twin[prev as usize] == NONE).then_some(prev);
                std::iter::once(h)
                    .chain(last)
                    .filter_map(|e| self.segment_of(e).map(|seg| (e, seg)))
            })
        })
    }

    /// Both segments at a vertex inside a rail: the one that ends there and the one that
    /// starts there. `None` for a vertex on no rail, at a rail's end, where rails meet, and
    /// for a pinned one.
    pub fn inside_rail(&self, vertex: u32) -> Option<[u32; 2]> {
        if self.pinned[vertex as usize] {
            return None;
        }
        let mut found = self.rail_edges(vertex).map(|(_, seg)| seg);
        let (one, two) = (found.next()?, found.next()?);
        if found.next().is_some() {
            return None;
        }
        let [first, second] = [one, two].map(|s| &self.segments[s as usize]);
        if first.rail != second.rail {
            return None;
        }
        if first.ends[1] == vertex && second.ends[0] == vertex {
            Some([one, two])
        } else if second.ends[1] == vertex && first.ends[0] == vertex {
            Some([two, one])
        } else {
            None
        }
    }

    /// Whether a vertex is on rails other than this one.
    pub fn meets_other_rail(&self, vertex: u32, rail: u32) -> bool {
        self.rail_edges(vertex)
            .any(|(_, seg)| self.segments[seg as usize].rail != rail)
    }

    /// Moves the place of a vertex inside a rail. `arriving` and `leaving` as from
    /// [`EditMesh::inside_rail`]; `param` is measured on the arriving segment.
    pub fn slide(&mut self, [arriving, leaving]: [u32; 2], param: f64) {
        let change = param - self.segments[arriving as usize].params[1];
        self.segments[arriving as usize].params[1] += change;
        self.segments[leaving as usize].params[0] += change;
    }
}
