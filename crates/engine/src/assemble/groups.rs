//! Named groups: the pieces that the guides cut the surface into.

use std::collections::{BTreeMap, BTreeSet};

use mesh::Group;

use super::Parts;
use crate::layout::ArcSource;
use crate::model::{ChainSource, Curve, Guide, GuideKind, Plane};

/// Groups of the whole mesh: quads of the half first, then, if `mirrored`, their images.
pub(super) fn named(parts: &Parts<'_>, half_quads: usize, mirrored: bool) -> Vec<Group> {
    let piece = pieces(parts);
    let mut names: BTreeMap<usize, [BTreeSet<String>; 2]> = BTreeMap::new();
    for (p, patch) in parts.layout.patches.iter().enumerate() {
        let entry = names.entry(piece[p]).or_default();
        for used in patch.sides.iter().flatten() {
            if let ArcSource::Chain(c) = parts.layout.arcs[used.arc].source
                && let ChainSource::Curve(curve) = parts.surface.chains[c].source
            {
                for (side, set) in entry.iter_mut().enumerate() {
                    set.insert(name_on_side(
                        &parts.curves[curve],
                        parts.guides,
                        parts.plane,
                        side == 1,
                    ));
                }
            }
        }
    }
    let mut groups: Vec<Group> = Vec::new();
    let copies = if mirrored { 2 } else { 1 };
    let stand_ins = parts.guides.iter().filter(|g| g.kind == GuideKind::Hold);
    for (hold, guide) in stand_ins.enumerate() {
        let patch = (parts.layout.patches.len() + hold) as u32;
        let held = |q: &usize| parts.filled.patch_of_quad[q % half_quads] == patch;
        let quads = (0..copies * half_quads).filter(held).map(|q| q as u32);
        groups.push(Group {
            name: group_name(&BTreeSet::from([guide.name.clone()])),
            quads: quads.collect(),
        });
    }
    for copy in 0..copies {
        for (&root, sets) in &names {
            let name = group_name(&sets[copy]);
            let quads: Vec<u32> = (0..half_quads)
                .filter(|&q| piece.get(parts.filled.patch_of_quad[q] as usize) == Some(&root))
                .map(|q| (q + copy * half_quads) as u32)
                .collect();
            // A piece that crosses the plane has the same name on both sides: one group.
            match groups.iter_mut().find(|g| g.name == name) {
                Some(group) => group.quads.extend(quads),
                None => groups.push(Group { name, quads }),
            }
        }
    }
    for group in &mut groups {
        group.quads.sort_unstable();
    }
    groups
}

fn group_name(guides: &BTreeSet<String>) -> String {
    if guides.is_empty() {
        return "surface".to_owned();
    }
    let joined: Vec<String> = guides.iter().map(|name| Group::word(name)).collect();
    joined.join("-")
}

/// The name of the guide that a curve stands for on the kept or on the mirrored side.
fn name_on_side(curve: &Curve, guides: &[Guide], plane: Option<Plane>, mirrored: bool) -> String {
    let height = |g: &Guide| {
        let sum: f64 = g
            .points
            .iter()
            .map(|&p| plane.map_or(0.0, |plane| plane.height(p)))
            .sum();
        sum
    };
    let wanted = curve
        .guides
        .iter()
        .find(|&&g| (height(&guides[g]) < 0.0) == mirrored);
    wanted
        .or(curve.guides.first())
        .map_or_else(String::new, |&g| guides[g].name.clone())
}

/// For each patch the lowest patch that it reaches without crossing a guide.
fn pieces(parts: &Parts<'_>) -> Vec<usize> {
    let mut sides_of_arc: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (p, patch) in parts.layout.patches.iter().enumerate() {
        for used in patch.sides.iter().flatten() {
            if matches!(parts.layout.arcs[used.arc].source, ArcSource::Laid(_)) {
                sides_of_arc.entry(used.arc).or_default().push(p);
            }
        }
    }
    let mut root: Vec<usize> = (0..parts.layout.patches.len()).collect();
    fn find(root: &mut [usize], mut i: usize) -> usize {
        while root[i] != i {
            root[i] = root[root[i]];
            i = root[i];
        }
        i
    }
    for patches in sides_of_arc.values() {
        for pair in patches.windows(2) {
            let (a, b) = (find(&mut root, pair[0]), find(&mut root, pair[1]));
            root[a.max(b)] = a.min(b);
        }
    }
    (0..root.len()).map(|i| find(&mut root, i)).collect()
}
