//! Building the hierarchy: binned surface-area heuristic (Wald, "On fast
//! construction of SAH-based bounding volume hierarchies", 2007) along the
//! longest axis of the centres.

use rayon::prelude::*;

use crate::TriMesh;

/// Most triangles in a leaf.
pub(super) const LEAF: usize = 4;
const BINS: usize = 16;
/// Below this depth nodes are split in halves, which bounds the depth by this plus 32.
const SAH_DEPTH: usize = 40;
/// Most nodes that wait during a walk: one for each level.
pub(super) const STACK: usize = SAH_DEPTH + 34;
/// Subtrees of at least this many triangles are built as separate pieces of work.
const PARALLEL: usize = 1 << 14;

/// One node of the tree. The first child of an inner node follows it directly.
#[derive(Clone, Copy, Debug)]
pub(super) struct Node {
    pub low: [f32; 3],
    /// Leaf: first place in the order. Inner: how far on the second child is.
    pub link: u32,
    pub high: [f32; 3],
    /// Triangles in a leaf, 0 for an inner node.
    pub count: u32,
}

#[derive(Clone, Copy)]
struct Bounds {
    low: [f32; 3],
    high: [f32; 3],
}

impl Bounds {
    const NOTHING: Self = Self {
        low: [f32::INFINITY; 3],
        high: [f32::NEG_INFINITY; 3],
    };

    fn join(&mut self, other: &Self) {
        for axis in 0..3 {
            // Plain comparisons: entries are finite, and they are twice as fast as f32::min.
            if other.low[axis] < self.low[axis] {
                self.low[axis] = other.low[axis];
            }
            if other.high[axis] > self.high[axis] {
                self.high[axis] = other.high[axis];
            }
        }
    }

    /// Half the surface area, in f64 so that large models don't overflow.
    fn half_area(&self) -> f64 {
        let [x, y, z] =
            [0, 1, 2].map(|i| (f64::from(self.high[i]) - f64::from(self.low[i])).max(0.0));
        x * y + y * z + z * x
    }
}

/// Stands for a triangle with a corner that isn't finite or doesn't exist.
const UNUSABLE: u32 = u32::MAX;

/// A triangle while the tree is built.
#[derive(Clone, Copy)]
struct Item {
    bounds: Bounds,
    triangle: u32,
}

impl Item {
    /// A triangle's item; one with [`UNUSABLE`] for a triangle that can't be found.
    fn new(mesh: &TriMesh, triangle: usize) -> Self {
        let mut item = Self {
            bounds: Bounds::NOTHING,
            triangle: triangle as u32,
        };
        for &v in &mesh.triangles[triangle] {
            match mesh.positions.get(v as usize).filter(|p| p.is_finite()) {
                Some(p) => {
                    let p = p.to_array();
                    item.bounds.join(&Bounds { low: p, high: p });
                }
                None => item.triangle = UNUSABLE,
            }
        }
        item
    }

    /// Halves are added, not halved, so that no coordinate overflows.
    fn centre(&self, axis: usize) -> f32 {
        0.5 * self.bounds.low[axis] + 0.5 * self.bounds.high[axis]
    }
}

/// Nodes in depth-first order and the triangles in the order of the leaves.
pub(super) fn build(mesh: &TriMesh) -> (Vec<Node>, Vec<u32>) {
    // Mapped, not filtered: so each thread writes into its part of one array, and the items,
    // which take more room than anything else here, are held but once.
    let mut items: Vec<Item> = (0..mesh.triangles.len())
        .into_par_iter()
        .map(|t| Item::new(mesh, t))
        .collect();
    items.retain(|item| item.triangle != UNUSABLE);
    if items.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let mut nodes = subtree(&mut items, 0, 0);
    nodes.shrink_to_fit();
    (nodes, items.iter().map(|item| item.triangle).collect())
}

/// The tree over `items`, which start at place `first` of the whole order.
fn subtree(items: &mut [Item], first: usize, depth: usize) -> Vec<Node> {
    if items.len() < PARALLEL {
        let mut nodes = Vec::with_capacity(items.len());
        grow(items, first, depth, &mut nodes);
        return nodes;
    }
    let bounds = bounds_of(items);
    let middle = split(items, depth);
    let (one, two) = items.split_at_mut(middle);
    let (mut left, right) = rayon::join(
        || subtree(one, first, depth + 1),
        || subtree(two, first + middle, depth + 1),
    );
    let link = left.len() as u32 + 1;
    left.reserve_exact(1 + right.len());
    left.insert(0, inner(&bounds, link));
    left.extend_from_slice(&right);
    left
}

fn inner(bounds: &Bounds, link: u32) -> Node {
    Node {
        low: bounds.low,
        link,
        high: bounds.high,
        count: 0,
    }
}

/// Appends the tree over `items`; recursion is as deep as the tree, at most [`STACK`].
fn grow(items: &mut [Item], first: usize, depth: usize, nodes: &mut Vec<Node>) {
    let bounds = bounds_of(items);
    if items.len() <= LEAF {
        // Rising indices in a leaf keep the order of tests plain.
        items.sort_unstable_by_key(|item| item.triangle);
        nodes.push(Node {
            low: bounds.low,
            link: first as u32,
            high: bounds.high,
            count: items.len() as u32,
        });
        return;
    }
    let middle = split(items, depth);
    let at = nodes.len();
    nodes.push(inner(&bounds, 0));
    let (one, two) = items.split_at_mut(middle);
    grow(one, first, depth + 1, nodes);
    nodes[at].link = (nodes.len() - at) as u32;
    grow(two, first + middle, depth + 1, nodes);
}

fn bounds_of(items: &[Item]) -> Bounds {
    let mut bounds = Bounds::NOTHING;
    for item in items {
        bounds.join(&item.bounds);
    }
    bounds
}

/// Reorders `items` and gives the place of the cut; neither side is empty.
fn split(items: &mut [Item], depth: usize) -> usize {
    let (axis, low, width) = longest_axis(items);
    let half = items.len() / 2;
    let scale = BINS as f32 / width;
    if !(width > 0.0 && scale.is_finite()) {
        return half;
    }
    if depth >= SAH_DEPTH {
        items.select_nth_unstable_by(half, |a, b| {
            a.centre(axis)
                .total_cmp(&b.centre(axis))
                .then(a.triangle.cmp(&b.triangle))
        });
        return half;
    }
    let bin_of = |item: &Item| (((item.centre(axis) - low) * scale) as usize).min(BINS - 1);
    let cut = best_cut(items, bin_of);
    let mut middle = 0;
    for i in 0..items.len() {
        if bin_of(&items[i]) < cut {
            items.swap(i, middle);
            middle += 1;
        }
    }
    if middle == 0 || middle == items.len() {
        half
    } else {
        middle
    }
}

/// The axis along which the centres spread furthest, their lowest value there and the spread.
fn longest_axis(items: &[Item]) -> (usize, f32, f32) {
    let mut low = [f32::INFINITY; 3];
    let mut high = [f32::NEG_INFINITY; 3];
    for item in items {
        for axis in 0..3 {
            let centre = item.centre(axis);
            if centre < low[axis] {
                low[axis] = centre;
            }
            if centre > high[axis] {
                high[axis] = centre;
            }
        }
    }
    let width = [0, 1, 2].map(|i| high[i] - low[i]);
    let mut axis = 0;
    for i in 1..3 {
        if width[i] > width[axis] {
            axis = i;
        }
    }
    (axis, low[axis], width[axis])
}

/// The first bin of the second side for the least expected cost of a walk.
fn best_cut(items: &[Item], bin_of: impl Fn(&Item) -> usize) -> usize {
    let mut bins = [(Bounds::NOTHING, 0usize); BINS];
    for item in items {
        let bin = &mut bins[bin_of(item)];
        bin.0.join(&item.bounds);
        bin.1 += 1;
    }
    let mut above = [0.0; BINS];
    let mut sum = (Bounds::NOTHING, 0);
    for i in (1..BINS).rev() {
        sum.0.join(&bins[i].0);
        sum.1 += bins[i].1;
        above[i] = sum.0.half_area() * sum.1 as f64;
    }
    let mut best = (f64::INFINITY, BINS / 2);
    let mut sum = (Bounds::NOTHING, 0);
    for cut in 1..BINS {
        sum.0.join(&bins[cut - 1].0);
        sum.1 += bins[cut - 1].1;
        let cost = sum.0.half_area() * sum.1 as f64 + above[cut];
        if sum.1 > 0 && sum.1 < items.len() && cost < best.0 {
            best = (cost, cut);
        }
    }
    best.1
}
