//! What is done to the guide that is picked.

use files::GuideKind;
use mesh::DVec3;
use session::draw::free_name;

use crate::desk::Desk;

impl Desk {
    /// Takes the picked guide away, and with it the trims that have no place without it.
    pub(crate) fn delete_picked(&mut self) {
        let Some(name) = self.picked.clone() else {
            return;
        };
        let mut trims = 0;
        if self.change(format!("Delete '{name}'"), |spec| {
            spec.guides.retain(|g| g.name != name);
            let before = spec.trims.len();
            spec.trims.retain(|t| t.guide != name);
            trims = before - spec.trims.len();
        }) {
            self.pick(None);
            if trims > 0 {
                let word = format!("The trim at '{name}' went with it: Undo brings both back.");
                self.word = Some((word, false));
            }
        }
    }

    /// Cuts the picked guide: a closed one open, an open one in two, at its middle point.
    pub(crate) fn split_picked(&mut self) {
        use session::draw::{split_closed, split_open};
        let Some(name) = self.picked.clone() else {
            return;
        };
        self.change(format!("Split '{name}'"), |spec| {
            let taken: Vec<String> = spec.guides.iter().map(|g| g.name.clone()).collect();
            let Some(place) = spec.guides.iter().position(|g| g.name == name) else {
                return;
            };
            let guide = &mut spec.guides[place];
            let middle = guide.points.len() / 2;
            if guide.closed {
                guide.points = split_closed(&guide.points, middle, guide.points[middle]);
                (guide.closed, guide.kind, guide.loops) = (false, GuideKind::Line, 0);
            } else if let Some([first, second]) = split_open(
                &guide.points,
                middle.saturating_sub(1),
                guide.points[middle],
            ) {
                guide.points = first;
                guide.count = None;
                let mut other = guide.clone();
                other.points = second;
                other.name = free_name(&name, taken.iter().map(String::as_str));
                spec.guides.insert(place + 1, other);
            }
        });
    }

    /// Joins the picked open guide to the open one whose end is nearest.
    pub(crate) fn join_picked(&mut self) {
        let Some(name) = self.picked.clone() else {
            return;
        };
        let reach = self.job.as_ref().map_or(0.0, |job| 60.0 * job.tolerance());
        let joined = self.change(format!("Join '{name}'"), |spec| {
            let Some(mine) = spec
                .guides
                .iter()
                .find(|g| g.name == name && !g.closed)
                .cloned()
            else {
                return;
            };
            let others = spec
                .guides
                .iter()
                .enumerate()
                .filter(|(_, g)| g.name != name && !g.closed);
            let found = others.filter_map(|(i, g)| {
                Some((i, session::draw::joined(&mine.points, &g.points, reach)?))
            });
            let shortest = found.min_by(|a, b| {
                let long = |points: &[DVec3]| mesh::runs::length(points, false);
                long(&a.1).total_cmp(&long(&b.1))
            });
            if let Some((other, points)) = shortest {
                spec.guides.remove(other);
                if let Some(guide) = spec.guides.iter_mut().find(|g| g.name == name) {
                    guide.points = points;
                    guide.count = None;
                }
            }
        });
        if !joined {
            self.word = Some((
                "No end of another open guide is near an end of this one.".to_owned(),
                true,
            ));
        }
    }
}
