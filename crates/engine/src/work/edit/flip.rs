//! Turning an edge inside its two triangles.

use super::{EditMesh, NONE};

impl EditMesh {
    /// Whether the edge of `h` may be flipped as far as connectivity goes:
    /// two triangles, no segment, and its two apexes aren't joined yet.
    pub fn can_flip(&self, h: u32) -> bool {
        let twin = self.twin[h as usize];
        if twin == NONE || self.seg[h as usize] != NONE {
            return false;
        }
        let (c, d) = (self.apex(h), self.apex(twin));
        c != d && self.edge_between(c, d).is_none()
    }

    /// Flips the edge of `h`, for which [`EditMesh::can_flip`] must hold.
    /// Afterwards the two triangles are (a, d, c) and (d, b, c).
    pub fn flip(&mut self, h: u32) {
        let g = self.twin[h as usize];
        let (bc, ca) = (Self::next(h), Self::prev(h));
        let (ad, db) = (Self::next(g), Self::prev(g));
        let (a, b, c, d) = (self.from(h), self.from(g), self.from(ca), self.from(db));
        let old = [ad, ca, db, bc].map(|x| (self.twin[x as usize], self.seg[x as usize]));
        let outs = [a, b, c, d].map(|v| self.out[v as usize]);
        let (one, two) = (h / 3, g / 3);
        self.tri[one as usize] = [a, d, c];
        self.tri[two as usize] = [d, b, c];
        let [new_ad, new_dc, new_ca] = [3 * one, 3 * one + 1, 3 * one + 2];
        let [new_db, new_bc, new_cd] = [3 * two, 3 * two + 1, 3 * two + 2];
        for (new, (twin, seg)) in [new_ad, new_ca, new_db, new_bc].into_iter().zip(old) {
            self.twin[new as usize] = twin;
            self.seg[new as usize] = seg;
            if twin != NONE {
                self.twin[twin as usize] = new;
            }
        }
        self.twin[new_dc as usize] = new_cd;
        self.twin[new_cd as usize] = new_dc;
        self.seg[new_dc as usize] = NONE;
        self.seg[new_cd as usize] = NONE;
        if outs[0] == h || outs[0] == ad {
            self.out[a as usize] = new_ad;
        }
        if outs[1] == g || outs[1] == bc {
            self.out[b as usize] = new_bc;
        }
        if outs[2] == ca {
            self.out[c as usize] = new_ca;
        }
        if outs[3] == db {
            self.out[d as usize] = new_db;
        }
    }
}
