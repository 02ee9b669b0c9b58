//! The invariants of the module's page, checked one by one.

use super::{EditMesh, NONE};

impl EditMesh {
    /// Says which invariant is broken, and where.
    pub fn check(&self) -> Result<(), String> {
        let mut corners = vec![0usize; self.pos.len()];
        for h in 0..self.twin.len() as u32 {
            if !self.alive((h / 3) as usize) {
                continue;
            }
            let (a, b) = (self.from(h), self.to(h));
            corners[a as usize] += 1;
            if a == b {
                return Err(format!("half-edge {h} starts and ends at vertex {a}"));
            }
            let twin = self.twin[h as usize];
            if twin != NONE {
                if !self.alive((twin / 3) as usize) || self.twin[twin as usize] != h {
                    return Err(format!("twin {twin} of half-edge {h} doesn't point back"));
                }
                if self.from(twin) != b || self.to(twin) != a {
                    return Err(format!("twins {h} and {twin} don't run opposite ways"));
                }
                if self.seg[twin as usize] != self.seg[h as usize] {
                    return Err(format!("twins {h} and {twin} have different segments"));
                }
            }
            self.check_segment(h)?;
        }
        for v in 0..self.pos.len() as u32 {
            self.check_vertex(v, corners[v as usize])?;
        }
        Ok(())
    }

    fn check_segment(&self, h: u32) -> Result<(), String> {
        let Some(seg) = self.segment_of(h) else {
            return Ok(());
        };
        let segment = &self.segments[seg as usize];
        let (a, b) = (self.from(h), self.to(h));
        if segment.rail == NONE || (segment.ends != [a, b] && segment.ends != [b, a]) {
            return Err(format!(
                "segment {seg} {segment:?} isn't that of the edge {a}–{b}"
            ));
        }
        if segment.params[0] >= segment.params[1] || !segment.params[0].is_finite() {
            return Err(format!("segment {seg} {segment:?} doesn't rise"));
        }
        if !self.on_rail[a as usize] || !self.on_rail[b as usize] {
            return Err(format!(
                "edge {a}–{b} has a segment, but its ends aren't marked"
            ));
        }
        Ok(())
    }

    fn check_vertex(&self, v: u32, corners: usize) -> Result<(), String> {
        let out = self.out[v as usize];
        if out == NONE {
            return if corners == 0 {
                Ok(())
            } else {
                Err(format!("vertex {v} is dead but used"))
            };
        }
        if !self.alive((out / 3) as usize) || self.from(out) != v {
            return Err(format!("half-edge {out} doesn't leave vertex {v}"));
        }
        let fan = self.outgoing(v).take(corners + 1).count();
        if fan != corners {
            return Err(format!(
                "the fan at vertex {v} has {fan} of {corners} triangles"
            ));
        }
        let mut around: Vec<u32> = self.neighbours(v).collect();
        around.sort_unstable();
        if around.windows(2).any(|w| w[0] == w[1]) {
            return Err(format!("vertex {v} has two edges to one neighbour"));
        }
        if self.on_rail[v as usize] != (self.rail_edges(v).next().is_some()) {
            return Err(format!(
                "vertex {v}: its mark says on a rail = {}",
                self.on_rail[v as usize]
            ));
        }
        Ok(())
    }
}
