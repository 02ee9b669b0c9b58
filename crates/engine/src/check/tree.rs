//! A bounding-box tree in f64 over a few thousand segments, triangles or points.

use mesh::DVec3;

/// Most items of a leaf.
const LEAF: usize = 4;

/// An axis-aligned box.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    pub low: DVec3,
    pub high: DVec3,
}

impl Bounds {
    pub fn around(points: &[DVec3]) -> Self {
        let mut bounds = Self {
            low: DVec3::INFINITY,
            high: DVec3::NEG_INFINITY,
        };
        for &p in points {
            bounds.low = bounds.low.min(p);
            bounds.high = bounds.high.max(p);
        }
        bounds
    }

    fn join(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    fn centre(&self) -> DVec3 {
        (self.low + self.high) / 2.0
    }

    fn distance_squared(&self, p: DVec3) -> f64 {
        (self.low - p)
            .max(p - self.high)
            .max(DVec3::ZERO)
            .length_squared()
    }

    fn meets(&self, other: &Self) -> bool {
        self.low.cmple(other.high).all() && other.low.cmple(self.high).all()
    }
}

struct Node {
    bounds: Bounds,
    /// Leaf: its items. Inner node: empty.
    items: std::ops::Range<u32>,
    /// Inner node: the second child; the first one follows the node.
    second: u32,
}

/// The tree. Items are known by their index in the list of boxes given.
pub(super) struct BoxTree {
    nodes: Vec<Node>,
    order: Vec<u32>,
}

/// The nearest item and its squared distance.
pub(super) type Nearest = (u32, f64);

impl BoxTree {
    pub fn new(boxes: &[Bounds]) -> Self {
        let mut tree = Self {
            nodes: Vec::with_capacity(boxes.len()),
            order: (0..boxes.len() as u32).collect(),
        };
        if !boxes.is_empty() {
            let mut order = std::mem::take(&mut tree.order);
            tree.build(boxes, &mut order, 0);
            tree.order = order;
        }
        tree
    }

    fn build(&mut self, boxes: &[Bounds], items: &mut [u32], first: u32) {
        let bounds = |i: u32| boxes[i as usize];
        let all = items
            .iter()
            .map(|&i| bounds(i))
            .reduce(Bounds::join)
            .unwrap_or(Bounds::around(&[]));
        let at = self.nodes.len();
        self.nodes.push(Node {
            bounds: all,
            items: first..first + items.len() as u32,
            second: 0,
        });
        if items.len() <= LEAF {
            return;
        }
        let extent = (all.high - all.low).to_array();
        let axis = (1..3).fold(0, |best, i| if extent[i] > extent[best] { i } else { best });
        let half = items.len() / 2;
        items.select_nth_unstable_by(half, |&i, &j| {
            let [x, y] = [i, j].map(|i| bounds(i).centre().to_array()[axis]);
            x.total_cmp(&y).then(i.cmp(&j))
        });
        let (low, high) = items.split_at_mut(half);
        self.nodes[at].items = 0..0;
        self.build(boxes, low, first);
        self.nodes[at].second = self.nodes.len() as u32;
        self.build(boxes, high, first + half as u32);
    }

    /// The item with the least `distance_squared` (the lowest index of equals).
    pub fn nearest(
        &self,
        p: DVec3,
        mut distance_squared: impl FnMut(u32) -> f64,
    ) -> Option<Nearest> {
        let mut best: Option<Nearest> = None;
        let mut stack = Vec::with_capacity(64);
        if let Some(root) = self.nodes.first() {
            stack.push((0, root.bounds.distance_squared(p)));
        }
        while let Some((at, reach)) = stack.pop() {
            if best.is_some_and(|b| reach > b.1) {
                continue;
            }
            let node = &self.nodes[at as usize];
            for &item in &self.order[node.items.start as usize..node.items.end as usize] {
                let d = distance_squared(item);
                if best.is_none_or(|b| d < b.1 || (d == b.1 && item < b.0)) {
                    best = Some((item, d));
                }
            }
            if node.items.is_empty() {
                let mut children = [at + 1, node.second].map(|c| {
                    let bounds = &self.nodes[c as usize].bounds;
                    (c, bounds.distance_squared(p))
                });
                if children[0].1 < children[1].1 {
                    children.reverse();
                }
                stack.extend(children);
            }
        }
        best
    }

    /// Calls `visit` for each item whose box meets `bounds`.
    pub fn meeting(&self, bounds: &Bounds, mut visit: impl FnMut(u32), boxes: &[Bounds]) {
        let mut stack = Vec::with_capacity(64);
        if !self.nodes.is_empty() {
            stack.push(0u32);
        }
        while let Some(at) = stack.pop() {
            let node = &self.nodes[at as usize];
            if !node.bounds.meets(bounds) {
                continue;
            }
            for &item in &self.order[node.items.start as usize..node.items.end as usize] {
                if boxes[item as usize].meets(bounds) {
                    visit(item);
                }
            }
            if node.items.is_empty() {
                stack.extend([node.second, at + 1]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn agrees_with_brute_force(
            raw in prop::collection::vec(prop::array::uniform3(-9i8..9), 0..80),
            query in prop::array::uniform3(-12i8..12),
            side in 0i8..5,
        ) {
            let point = |p: &[i8; 3]| DVec3::from_array(p.map(f64::from));
            let points: Vec<DVec3> = raw.iter().map(point).collect();
            let boxes: Vec<Bounds> = points.iter().map(|&p| Bounds::around(&[p])).collect();
            let tree = BoxTree::new(&boxes);
            let q = point(&query);
            let d = |i: u32| points[i as usize].distance_squared(q);
            let slow = (0..points.len() as u32).map(|i| (i, d(i))).min_by(|a, b| a.1.total_cmp(&b.1));
            prop_assert_eq!(tree.nearest(q, d), slow);
            let around = Bounds { low: q - f64::from(side), high: q + f64::from(side) };
            let mut found = Vec::new();
            tree.meeting(&around, |i| found.push(i), &boxes);
            found.sort_unstable();
            let slow: Vec<u32> = (0..points.len() as u32)
                .filter(|&i| (points[i as usize] - q).abs().max_element() <= f64::from(side))
                .collect();
            prop_assert_eq!(found, slow);
        }
    }
}
