//! Arcs without quads make their ends one vertex.

use std::collections::{BTreeMap, BTreeSet};

use super::Plan;
use super::model::sharing_ends;
use crate::layout::{ArcSource, Layout};

/// What holds the nodes of a layout.
struct Held {
    plain: BTreeSet<u32>,
    /// Chains through each node, once for each of their arcs that ends there.
    chains: BTreeMap<u32, Vec<usize>>,
}

impl Held {
    fn new(layout: &Layout) -> Self {
        let mut chains: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        for arc in &layout.arcs {
            if let ArcSource::Chain(c) = arc.source {
                for v in [arc.vertices.first(), arc.vertices.last()]
                    .into_iter()
                    .flatten()
                {
                    chains.entry(*v).or_default().push(c);
                }
            }
        }
        Self {
            plain: layout.plain_nodes(),
            chains,
        }
    }

    fn at(&self, node: u32) -> &[usize] {
        self.chains.get(&node).map_or(&[], Vec::as_slice)
    }

    /// Whether a line ends here and nothing else holds the node: the line may as well be made
    /// a little longer or shorter.
    fn is_tip(&self, node: u32) -> bool {
        self.at(node).len() == 1
    }

    /// The lower, the better a node stands for those that it is merged with.
    fn rank(&self, node: u32) -> (bool, bool, bool, u32) {
        let free = self.at(node).is_empty();
        (free, self.is_tip(node), self.plain.contains(&node), node)
    }

    /// Whether the chains through a node run through another one, too, but for the end of a line.
    fn runs_through(&self, node: u32, other: u32) -> bool {
        let there = self.at(other);
        self.is_tip(node) || self.at(node).iter().all(|c| there.contains(c))
    }
}

impl Plan {
    /// Nodes that arcs without quads make one: each with the node that stands for all of them, one
    /// that chains run through if there is one, then one where a line ends, else the lowest.
    /// Work-surface vertices.
    pub fn merged_nodes(&self, layout: &Layout) -> BTreeMap<u32, u32> {
        let mut other: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
        for (arc, _) in layout.arcs.iter().zip(&self.arcs).filter(|(_, n)| **n == 0) {
            if let (Some(&a), Some(&b)) = (arc.vertices.first(), arc.vertices.last()) {
                other.entry(a).or_default().push(b);
                other.entry(b).or_default().push(a);
            }
        }
        if other.is_empty() {
            return BTreeMap::new();
        }
        let held = Held::new(layout);
        let mut stands_for = BTreeMap::new();
        for &first in other.keys() {
            if stands_for.contains_key(&first) {
                continue;
            }
            let mut group = vec![first];
            let mut i = 0;
            while i < group.len() {
                for &next in other.get(&group[i]).into_iter().flatten() {
                    if !group.contains(&next) {
                        group.push(next);
                    }
                }
                i += 1;
            }
            let best = group
                .iter()
                .copied()
                .min_by_key(|v| held.rank(*v))
                .unwrap_or(first);
            stands_for.extend(group.into_iter().map(|v| (v, best)));
        }
        stands_for
    }

    /// Arcs that must not be without quads: by vanishing they close a loop of such arcs, make two
    /// nodes one that chains hold apart, or leave an edge that is there twice.
    pub(super) fn overmerged(&self, layout: &Layout) -> Vec<usize> {
        let stands_for = self.merged_nodes(layout);
        if stands_for.is_empty() {
            return Vec::new();
        }
        let chains = Held::new(layout);
        let mut held: BTreeMap<u32, u32> = BTreeMap::new();
        let mut nodes: BTreeMap<u32, usize> = BTreeMap::new();
        for (&node, &group) in &stands_for {
            *nodes.entry(group).or_default() += 1;
            *held.entry(group).or_default() += u32::from(!chains.plain.contains(&node));
        }
        let group_of = |v: Option<&u32>| v.map(|v| *stands_for.get(v).unwrap_or(v));
        let zero: Vec<usize> = (0..layout.arcs.len())
            .filter(|&a| self.arcs[a] == 0)
            .collect();
        let mut inside: BTreeMap<u32, usize> = BTreeMap::new();
        for &a in &zero {
            if let Some(group) = group_of(layout.arcs[a].vertices.first()) {
                *inside.entry(group).or_default() += 1;
            }
        }
        // A tree of n nodes has n − 1 arcs.
        let mut bad: BTreeSet<u32> = nodes
            .iter()
            .filter(|(group, n)| inside.get(group).is_some_and(|arcs| arcs + 1 > **n))
            .map(|(group, _)| *group)
            .collect();
        bad.extend(
            held.iter()
                .filter(|(_, n)| **n > 1)
                .map(|(group, _)| *group),
        );
        // A chain would be bent aside to a node that isn't on it.
        let bent = |(node, group): &(&u32, &u32)| !chains.runs_through(**node, **group);
        bad.extend(stands_for.iter().filter(bent).map(|(_, group)| *group));
        let mut merged = layout.arcs.clone();
        for arc in &mut merged {
            let ends = [
                group_of(arc.vertices.first()),
                group_of(arc.vertices.last()),
            ];
            arc.vertices = ends.into_iter().flatten().collect();
        }
        for group in sharing_ends(&merged) {
            let quads: u32 = group.iter().map(|&a| self.arcs[a]).sum();
            let vanished = group.iter().all(|&a| self.arcs[a] == 0);
            if quads < 3 && !vanished {
                bad.extend(
                    group
                        .iter()
                        .flat_map(|&a| merged[a].vertices.iter().copied()),
                );
            }
        }
        zero.into_iter()
            .filter(|&a| merged[a].vertices.first().is_some_and(|v| bad.contains(v)))
            .collect()
    }
}
