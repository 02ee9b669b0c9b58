//! Quads inside one patch, in its own plane coordinates.
//!
//! A four-sided patch lies in the unit square, others in a regular polygon of radius
//! one; see [`corner_uv`].

use numeric::SpdError;

use super::even::even;
use crate::layout::corner_uv;

/// The filling of one patch. Quads index `outer` first, then `inner`.
#[derive(Clone, Debug, Default)]
pub(super) struct Block {
    /// Mesh vertices on the sides.
    pub outer: Vec<u32>,
    /// Plane coordinates of new vertices, along straight lines between sides and poles.
    pub inner: Vec<[f64; 2]>,
    /// Another way to place them, each at the mean of its neighbours; none for grids, where it is the same.
    pub even: Option<Vec<[f64; 2]>>,
    /// Quads, anticlockwise.
    pub quads: Vec<[u32; 4]>,
    /// Plane coordinates of outer and, behind them, inner vertices.
    uv: Vec<[f64; 2]>,
}

fn lerp(a: [f64; 2], b: [f64; 2], t: f64) -> [f64; 2] {
    [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
}

impl Block {
    /// Fills a patch whose sides have these mesh vertices (anticlockwise, corners included)
    /// and, unless it has four, these quads on each spoke.
    pub fn fill(sides: &[Vec<u32>], spokes: &[u32]) -> Result<Self, SpdError> {
        let mut block = Self::default();
        let corners = corner_uv(sides.len());
        // Local indices of each side; corners are shared by neighbouring sides.
        let mut local: Vec<Vec<u32>> = Vec::new();
        for (s, side) in sides.iter().enumerate() {
            let count = side.len() - 1;
            let mut ids = Vec::with_capacity(count + 1);
            for (k, &vertex) in side.iter().enumerate().take(count) {
                ids.push(block.outer.len() as u32);
                block.outer.push(vertex);
                block.uv.push(lerp(
                    corners[s],
                    corners[(s + 1) % sides.len()],
                    k as f64 / count as f64,
                ));
            }
            local.push(ids);
        }
        for s in 0..sides.len() {
            let end = local[(s + 1) % sides.len()][0];
            local[s].push(end);
        }
        let outer = block.outer.len();
        let grid = sides.len() == 4 && (0..2).all(|s| sides[s].len() == sides[s + 2].len());
        if sides.len() == 4 {
            let [b, r, t, l] = [&local[0], &local[1], &local[2], &local[3]].map(Clone::clone);
            block.four(&b, &r, &reversed(&t), &reversed(&l));
        } else {
            block.around_pole(&local, spokes);
        }
        if !grid {
            block.even = Some(even(&block.uv, outer, &block.quads)?);
        }
        block.inner = block.uv.split_off(outer);
        Ok(block)
    }

    fn add(&mut self, uv: [f64; 2]) -> u32 {
        self.uv.push(uv);
        self.uv.len() as u32 - 1
    }

    fn row_between(&mut self, left: u32, right: u32, quads: usize) -> Vec<u32> {
        let (a, b) = (self.uv[left as usize], self.uv[right as usize]);
        let mut row = vec![left];
        for i in 1..quads {
            row.push(self.add(lerp(a, b, i as f64 / quads as f64)));
        }
        row.push(right);
        row
    }

    fn strip(&mut self, low: &[u32], high: &[u32]) {
        for i in 0..low.len() - 1 {
            self.quads.push([low[i], low[i + 1], high[i + 1], high[i]]);
        }
    }

    /// A four-sided block; bottom and top run left to right, left and right bottom to top.
    fn four(&mut self, bottom: &[u32], right: &[u32], top: &[u32], left: &[u32]) {
        if bottom.len() < top.len() {
            return self.four(
                &reversed(top),
                &reversed(left),
                &reversed(bottom),
                &reversed(right),
            );
        }
        if bottom.len() > top.len() {
            return self.narrowing(bottom, right, top, left);
        }
        if left.len() != right.len() {
            return self.four(right, &reversed(top), left, &reversed(bottom));
        }
        let rows = left.len() - 1;
        let mut low = bottom.to_vec();
        for j in 1..=rows {
            let high = if j == rows {
                top.to_vec()
            } else {
                self.row_between(left[j], right[j], bottom.len() - 1)
            };
            self.strip(&low, &high);
            low = high;
        }
    }

    /// Takes a surplus of the bottom over the top up in one row in the middle.
    fn narrowing(&mut self, bottom: &[u32], right: &[u32], top: &[u32], left: &[u32]) {
        let rows = left.len().min(right.len()) - 1;
        let before = (rows.saturating_sub(1)) / 2;
        let mut low = bottom.to_vec();
        for j in 1..=before {
            let high = self.row_between(left[j], right[j], bottom.len() - 1);
            self.strip(&low, &high);
            low = high;
        }
        let at = before + 1;
        let last = at == left.len() - 1 && at == right.len() - 1;
        let high = if last {
            top.to_vec()
        } else {
            self.row_between(left[at], right[at], top.len() - 1)
        };
        self.three_to_one(&low, &high);
        if !last {
            self.four(&high, &right[at..], top, &left[at..]);
        }
    }

    /// One row from a wide line to a narrow one: some of its quads take three edges to one.
    fn three_to_one(&mut self, low: &[u32], high: &[u32]) {
        let narrow = high.len() - 1;
        let more = (low.len() - high.len()) / 2;
        let mut x = 0;
        for k in 0..narrow {
            // Evenly spread, as far from both ends as can be, where poles would come to lie on the
            // sides: one where the running share of `more` passes a half.
            let passed = |k: usize| (2 * k * more + narrow) / (2 * narrow);
            let here = passed(k + 1) - passed(k);
            if here == 0 {
                self.quads.push([low[x], low[x + 1], high[k + 1], high[k]]);
                x += 1;
                continue;
            }
            let [a, b, c, d] = [low[x], low[x + 1], low[x + 2], low[x + 3]];
            let (uv_b, uv_c) = (self.uv[b as usize], self.uv[c as usize]);
            let (top_l, top_r) = (self.uv[high[k] as usize], self.uv[high[k + 1] as usize]);
            let p = self.add(lerp(uv_b, lerp(top_l, top_r, 1.0 / 3.0), 0.5));
            let q = self.add(lerp(uv_c, lerp(top_l, top_r, 2.0 / 3.0), 0.5));
            self.quads.push([a, b, p, high[k]]);
            self.quads.push([b, c, q, p]);
            self.quads.push([c, d, high[k + 1], q]);
            self.quads.push([p, q, high[k + 1], high[k]]);
            x += 3;
        }
    }

    /// As many grids around one pole as there are sides.
    fn around_pole(&mut self, sides: &[Vec<u32>], spokes: &[u32]) {
        let n = sides.len();
        let split: Vec<usize> = (0..n).map(|i| spokes[(i + n - 1) % n] as usize).collect();
        let feet: Vec<u32> = (0..n).map(|i| sides[i][split[i]]).collect();
        let mut middle = [0.0, 0.0];
        for &f in &feet {
            middle[0] += self.uv[f as usize][0] / n as f64;
            middle[1] += self.uv[f as usize][1] / n as f64;
        }
        // A spoke of no length puts the pole on its side, and the two spokes beside it run along
        // that side, from its corners.
        let flat = (0..n).find(|&i| spokes[i] == 0);
        let pole = match flat {
            Some(i) => feet[i],
            None => self.add(middle),
        };
        let rays: Vec<Vec<u32>> = (0..n)
            .map(|i| match flat {
                Some(f) if f == i => vec![pole],
                Some(f) if (i + 1) % n == f => sides[f][..=split[f]].to_vec(),
                Some(f) if (f + 1) % n == i => reversed(&sides[f][split[f]..]),
                _ => self.row_between(feet[i], pole, spokes[i] as usize),
            })
            .collect();
        for i in 0..n {
            let before = (i + n - 1) % n;
            if spokes[i] == 0 || spokes[before] == 0 {
                continue;
            }
            let bottom = sides[i][..=split[i]].to_vec();
            let left = reversed(&sides[before][split[before]..]);
            self.four(&bottom, &rays[i].clone(), &rays[before].clone(), &left);
        }
    }
}

fn reversed(ids: &[u32]) -> Vec<u32> {
    ids.iter().rev().copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use mesh::{DVec3, QuadMesh};
    use proptest::prelude::*;

    /// Sides with fresh vertex ids, the corners shared.
    fn sides_of(counts: &[u32]) -> Vec<Vec<u32>> {
        let total: u32 = counts.iter().sum();
        let mut at = 0;
        counts
            .iter()
            .map(|&c| {
                let side = (0..=c).map(|k| (at + k) % total).collect();
                at += c;
                side
            })
            .collect()
    }

    fn mesh_of(block: &Block) -> QuadMesh {
        let count = block.outer.len() + block.inner.len();
        QuadMesh {
            positions: vec![DVec3::ZERO; count],
            quads: block.quads.clone(),
            groups: vec![],
        }
    }

    fn check(counts: &[u32], spokes: &[u32], inner_poles: usize) {
        let block = Block::fill(&sides_of(counts), spokes).unwrap();
        let topology = mesh_of(&block).topology();
        assert_eq!(topology.euler_characteristic(), 1, "{counts:?}");
        assert_eq!(topology.inconsistent_edges, 0);
        let loops = topology.boundary_loops();
        assert_eq!(loops.len(), 1);
        assert_eq!(loops[0].len() as u32, counts.iter().sum::<u32>());
        let poles = (0..topology.valence.len())
            .filter(|&v| !topology.on_boundary[v] && topology.valence[v] != 4)
            .count();
        assert_eq!(poles, inner_poles, "{counts:?}");
    }

    /// Plane coordinates of outer and inner vertices.
    fn places(block: &Block) -> Vec<[f64; 2]> {
        let outer = block.uv.iter().copied();
        outer.chain(block.even.iter().flatten().copied()).collect()
    }

    /// A long patch of three sides, as on a quarter of a thin limb with a tip: laid into a regular shape its
    /// rows crowd towards the tip, and the pole, a row from it, must lie as near. It lay a third of the way down, so
    /// that the tip had no quads.
    #[test]
    fn the_pole_of_a_long_patch_lies_at_its_end() {
        let (rows, across) = (24, 2);
        let block = Block::fill(&sides_of(&[rows, rows, across]), &[1, 1, rows - 1]).unwrap();
        let uv = places(&block);
        let tip = uv[rows as usize];
        let topology = mesh_of(&block).topology();
        let inner = block.outer.len()..uv.len();
        let pole = inner.clone().find(|&v| topology.valence[v] == 3).unwrap();
        let off = |v: usize| (uv[v][0] - tip[0]).hypot(uv[v][1] - tip[1]);
        let row = off(rows as usize - 1);
        assert!(off(pole) < 1.2 * row, "{} of {row}", off(pole));
        assert!(inner.map(off).all(|o| o > 0.5 * row));
    }

    proptest! {
        #[test]
        fn odd_patches_have_one_pole(y in prop::collection::vec(1u32..6, 5), three in prop::bool::ANY) {
            let y = if three { y[..3].to_vec() } else { y };
            let n = y.len();
            let counts: Vec<u32> = (0..n).map(|i| y[(i + n - 1) % n] + y[(i + 1) % n]).collect();
            check(&counts, &y, 1);
        }

        #[test]
        fn a_spoke_of_no_length_puts_the_pole_on_its_side(y in prop::collection::vec(1u32..6, 5), at in 0usize..5) {
            let mut y = y;
            y[at] = 0;
            let counts: Vec<u32> = (0..5).map(|i| y[(i + 4) % 5] + y[(i + 1) % 5]).collect();
            let block = Block::fill(&sides_of(&counts), &y).unwrap();
            let topology = mesh_of(&block).topology();
            prop_assert_eq!(topology.euler_characteristic(), 1);
            prop_assert_eq!(topology.boundary_loops().len(), 1);
            let rim = topology.face_count.iter().filter(|&&n| n == 1).count() as u32;
            prop_assert_eq!(rim, counts.iter().sum::<u32>());
            // On the side: three quads meet there, so four edges where a straight side has three.
            let fours = (0..topology.valence.len()).filter(|&v| topology.on_boundary[v] && topology.valence[v] == 4).count();
            prop_assert_eq!(fours, 1);
        }

        /// Tutte's theorem (1963): where every inner vertex is the mean of its neighbours within a convex rim,
        /// nothing folds.
        #[test]
        fn no_quad_folds_in_the_plane(y in prop::collection::vec(1u32..30, 6), n in 3usize..7) {
            prop_assume!(n != 4);
            let y = &y[..n];
            let counts: Vec<u32> = (0..n).map(|i| y[(i + n - 1) % n] + y[(i + 1) % n]).collect();
            let block = Block::fill(&sides_of(&counts), y).unwrap();
            let uv = places(&block);
            for quad in &block.quads {
                let [a, b, c, d] = quad.map(|v| uv[v as usize]);
                let twice = (c[0] - a[0]) * (d[1] - b[1]) - (c[1] - a[1]) * (d[0] - b[0]);
                prop_assert!(twice > 0.0, "{counts:?}: {quad:?}");
            }
        }

        #[test]
        fn grids_have_none(a in 1u32..8, b in 1u32..8) {
            check(&[a, b, a, b], &[], 0);
        }

        #[test]
        fn a_surplus_of_two_makes_two_pairs(a in 1u32..8, e in 1u32..4, rows in 3u32..8, turn in 0usize..4) {
            prop_assume!(a >= e);
            let mut counts = vec![a + 2 * e, rows, a, rows];
            counts.rotate_left(turn);
            // At the ends of the narrow line the five-poles are shared with the sides, so count quads' sums only.
            let block = Block::fill(&sides_of(&counts), &[]).unwrap();
            let topology = mesh_of(&block).topology();
            prop_assert_eq!(topology.euler_characteristic(), 1);
            let threes = (0..topology.valence.len())
                .filter(|&v| !topology.on_boundary[v] && topology.valence[v] == 3)
                .count() as u32;
            prop_assert_eq!(threes, 2 * e);
        }
    }
}
