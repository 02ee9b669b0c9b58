//! Which proposals stand: the surest first, none too near to another or to a drawn guide.

use mesh::{DVec3, runs};

use super::creases::{Crease, free_stretches};
use super::ground::Ground;
use super::limbs::Limb;
use super::names::{self, Kept, Word};
use super::{Proposal, centre, places, rings};
use crate::model::{Guide, GuideKind, Plane};

/// Proposals are at least so many quads from each other and from drawn guides.
const APART: f64 = 3.0;
/// From a mirror plane half of that: from the mirror image all.
const OFF_MIRROR: f64 = 1.5;
/// And from the sculpt's boundary.
const OFF_BOUNDARY: f64 = 2.0;
/// Two runs cross well if the cosine between them is at most this.
const CROSSING: f64 = 0.64;
/// Rings as sure as this come before creases.
const FIRM: f64 = 0.5;
/// How sure an edge of cloth is.
const SURE: f64 = 0.95;
/// Nearer than so many quads, runs meet.
const TOUCHING: f64 = 1.0;
/// A crease or centre line is at least so many quads long.
const LEAST_LINE: f64 = 6.0;
/// A crease that turns by more than this over a quad on the whole is a wrinkle, degrees.
const WINDING: f64 = 25.0;
/// Below this share of free directions a run lies on an inner wall.
const HIDDEN: f64 = 0.25;
/// A ring that crosses the mirror plane has at least this share of its points on each side.
const LEAST_SIDE: f64 = 0.25;
/// And is its own mirror image within so many quads.
const OWN_IMAGE: f64 = 1.0;
/// Turning over one quad of a crease that can't be overlooked, radians.
const CLEAR: f64 = 1.0;

/// A proposal that may be dropped.
struct Offer {
    kind: GuideKind,
    closed: bool,
    points: Vec<DVec3>,
    reason: String,
    confidence: f64,
    word: Word,
    /// Of a crease: what stretches are cut from.
    crease: Option<Crease>,
}

/// A run that is kept or drawn.
struct Standing {
    points: Vec<DVec3>,
    closed: bool,
    /// Whether it is a ring or an opening: no ring crosses it.
    rings: bool,
}

/// Weighs proposals against each other.
pub(super) struct Chooser<'a> {
    ground: &'a Ground<'a>,
    guides: &'a [Guide],
    mirror: Option<Plane>,
    centre: Option<Plane>,
    limbs: Vec<Limb>,
    offers: Vec<Offer>,
    /// Distance of each light vertex from rings and openings, as far as it matters;
    near_loop: Vec<f64>,
    /// and from lines.
    near_line: Vec<f64>,
    /// What is kept or drawn.
    standing: Vec<Standing>,
}

impl<'a> Chooser<'a> {
    pub fn new(ground: &'a Ground<'a>, guides: &'a [Guide], mirror: Option<Plane>) -> Self {
        let far = vec![f64::INFINITY; ground.at.len()];
        let mut chooser = Self {
            ground,
            guides,
            mirror,
            centre: None,
            limbs: Vec::new(),
            offers: Vec::new(),
            near_loop: far.clone(),
            near_line: far,
            standing: Vec::new(),
        };
        for guide in guides {
            chooser.stand(&guide.points, guide.closed, guide.kind);
        }
        chooser
    }

    /// Takes note of a run that stands, and of its mirror image.
    fn stand(&mut self, points: &[DVec3], closed: bool, kind: GuideKind) {
        let rings = kind != GuideKind::Line;
        let mut both = vec![points.to_vec()];
        if let Some(plane) = &self.mirror {
            both.push(points.iter().map(|&p| plane.mirror(p)).collect());
        }
        for points in both {
            let marks = self.ground.vertices_at(&points, closed);
            let near = if rings {
                &mut self.near_loop
            } else {
                &mut self.near_line
            };
            self.ground.spread(&marks, APART * self.ground.edge, near);
            self.standing.push(Standing {
                points,
                closed,
                rings,
            });
        }
    }

    /// Rings for the places of limbs.
    pub fn offer_limbs(&mut self, limbs: Vec<Limb>) {
        let plane = self.mirror.or(self.centre);
        for mut limb in limbs {
            let number = self.limbs.len();
            for place in places::places(&mut limb, self.ground.edge) {
                let Some(ring) = rings::ring(self.ground, &limb, &place, plane.as_ref()) else {
                    continue;
                };
                // A loop that is far from round goes around something else than a limb.
                let round = ((ring.roundness - 0.2) / 0.5).clamp(0.3, 1.0);
                self.offers.push(Offer {
                    kind: GuideKind::Ring,
                    closed: true,
                    points: ring.points,
                    reason: place.reason,
                    confidence: place.confidence * round,
                    word: Word::Limb {
                        limb: number,
                        place: place.word,
                        length: ring.length,
                    },
                    crease: None,
                });
            }
            self.limbs.push(limb);
        }
    }

    /// Rings along edges of cloth: nothing else on a sculpt is as sure.
    pub fn offer_cloth(&mut self, edges: Vec<Vec<DVec3>>) {
        for points in edges {
            let length = runs::length(&points, true);
            self.offers.push(Offer {
                kind: GuideKind::Ring,
                closed: true,
                points,
                reason: "both walls of the cloth meet here; a ring keeps its edge where it is"
                    .to_owned(),
                confidence: SURE,
                word: Word::Cloth { length },
                crease: None,
            });
        }
    }

    /// Lines along creases.
    pub fn offer_creases(&mut self, creases: &[Crease]) {
        let edge = self.ground.edge;
        for crease in creases {
            let long = runs::length(&crease.points, crease.closed) / edge;
            if long < LEAST_LINE || winding(crease) > WINDING * long {
                continue;
            }
            let strength =
                crease.strength.iter().sum::<f64>() / crease.strength.len().max(1) as f64;
            let confidence = 0.25
                + 0.4 * (strength / CLEAR).min(1.0)
                + 0.25 * ((long - LEAST_LINE) / 30.0).min(1.0);
            let what = if crease.ridge { "ridge" } else { "valley" };
            self.offers.push(Offer {
                kind: GuideKind::Line,
                closed: crease.closed,
                points: crease.points.clone(),
                reason: format!(
                    "a {what} that turns by {:.0}° over one quad; edges along it keep it sharp",
                    strength.to_degrees()
                ),
                confidence,
                word: if crease.ridge {
                    Word::Ridge
                } else {
                    Word::Valley
                },
                crease: Some(crease.clone()),
            });
        }
    }

    /// Lines on a plane that the job doesn't name.
    pub fn offer_centre_lines(&mut self, plane: &Plane) {
        let edge = self.ground.edge;
        let lines: Vec<centre::CentreLine> = centre::lines(self.ground, plane)
            .into_iter()
            .filter(|l| runs::length(&l.points, l.closed) >= LEAST_LINE * edge)
            .filter(|l| self.ground.exposure(&l.points) >= HIDDEN)
            .collect();
        if lines.is_empty() {
            return;
        }
        self.centre = Some(*plane);
        for line in lines {
            self.offers.push(Offer {
                kind: GuideKind::Line,
                closed: line.closed,
                points: line.points,
                reason: "the sculpt is its own mirror image about this line; a mirror plane in \
                    the job (plane = \"find\") would do the same exactly"
                    .to_owned(),
                confidence: 0.5,
                word: Word::Centre,
                crease: None,
            });
        }
    }

    /// The proposals that stand, surest first.
    pub fn choose(mut self) -> Vec<Proposal> {
        let mut offers = std::mem::take(&mut self.offers);
        // Centre lines first, then rings that are wanted where they are: creases can go
        // across both, or end before them. A stable sort.
        let rank = |o: &Offer| match o.word {
            Word::Centre => 0,
            Word::Cloth { .. } => 1,
            Word::Limb { .. } if o.confidence >= FIRM => 1,
            _ => 2,
        };
        offers.sort_by(|a, b| {
            rank(a)
                .cmp(&rank(b))
                .then(b.confidence.total_cmp(&a.confidence))
        });
        let mut kept: Vec<Kept> = Vec::new();
        for offer in offers {
            let runs: Vec<(Vec<DVec3>, bool)> = match &offer.crease {
                Some(crease) => self.stretches(crease),
                None if self.fits(&offer) => vec![(offer.points.clone(), offer.closed)],
                None => Vec::new(),
            };
            for (points, closed) in runs {
                if self.ground.exposure(&points) < HIDDEN {
                    continue;
                }
                self.stand(&points, closed, offer.kind);
                kept.push(Kept {
                    kind: offer.kind,
                    closed,
                    points,
                    reason: offer.reason.clone(),
                    confidence: offer.confidence,
                    word: offer.word.clone(),
                });
            }
        }
        names::proposals(kept, &self.limbs, self.guides, self.ground)
    }

    /// Whether a ring or centre line is far enough from all that stands.
    fn fits(&self, offer: &Offer) -> bool {
        let points = &offer.points;
        let lines = self.apart_or_across(points, offer.closed, false);
        if offer.word == Word::Centre {
            return lines && self.apart_or_across(points, offer.closed, true);
        }
        let rings = points
            .iter()
            .all(|&p| self.near(p, true) >= APART * self.ground.edge);
        lines && rings && self.on_this_side(points) && self.off_boundary(points)
    }

    /// Whether a run is far from all rings or all lines, or goes well across those it meets.
    fn apart_or_across(&self, points: &[DVec3], closed: bool, rings: bool) -> bool {
        let (mut near, mut across) = (false, false);
        for i in 0..points.len() {
            let distance = self.near(points[i], rings);
            if distance < TOUCHING * self.ground.edge {
                if !self.crosses_well(points[i], direction(points, closed, i), rings) {
                    return false;
                }
                across = true;
            } else if distance < APART * self.ground.edge {
                near = true;
            }
        }
        across || !near
    }

    /// Distance from the loops or lines that stand, along edges.
    fn near(&self, p: DVec3, rings: bool) -> f64 {
        let near = if rings {
            &self.near_loop
        } else {
            &self.near_line
        };
        self.nearest_of(near, p)
    }

    /// Whether a run at `p` goes across the loops or lines that stand nearest.
    fn crosses_well(&self, p: DVec3, way: DVec3, rings: bool) -> bool {
        let mut best = (f64::INFINITY, DVec3::ZERO);
        let edge = self.ground.edge;
        for standing in self.standing.iter().filter(|s| s.rings == rings) {
            let (points, closed) = (&standing.points, standing.closed);
            for (i, j) in runs::pieces(points.len(), closed) {
                let piece = points[j] - points[i];
                let long = piece.length_squared().max(f64::MIN_POSITIVE);
                let share = ((p - points[i]).dot(piece) / long).clamp(0.0, 1.0);
                let distance = (points[i] + share * piece).distance(p);
                // Near a line's end nothing crosses it.
                let at_end = !closed
                    && [points.first(), points.last()]
                        .iter()
                        .flatten()
                        .any(|e| e.distance(p) < APART * edge);
                if distance < best.0 {
                    let way = piece.normalize_or_zero();
                    best = (distance, if at_end { DVec3::ZERO } else { way });
                }
            }
        }
        best.1 != DVec3::ZERO && best.1.dot(way).abs() <= CROSSING
    }

    /// Whether a run at `p` is far from the mirror plane, or goes across it.
    fn clear_of_plane(&self, p: DVec3, way: DVec3) -> bool {
        self.mirror.as_ref().is_none_or(|plane| {
            plane.height(p).abs() >= OFF_MIRROR * self.ground.edge
                || way.dot(plane.normal).powi(2) >= 1.0 - CROSSING * CROSSING
        })
    }

    /// Whether a loop lies in front of the mirror plane, or well on both sides.
    fn on_this_side(&self, points: &[DVec3]) -> bool {
        let Some(plane) = &self.mirror else {
            return true;
        };
        let front = points.iter().filter(|p| plane.height(**p) >= 0.0).count();
        let share = front as f64 / points.len().max(1) as f64;
        // Across the plane only as its own mirror image: else both would cross each other.
        let own = |p: &DVec3| {
            let image = plane.mirror(*p);
            points
                .iter()
                .any(|q| q.distance(image) <= OWN_IMAGE * self.ground.edge)
        };
        let off = |p: &DVec3| plane.height(*p) >= OFF_MIRROR * self.ground.edge;
        points.iter().all(off)
            || ((LEAST_SIDE..=1.0 - LEAST_SIDE).contains(&share) && points.iter().all(own))
    }

    fn off_boundary(&self, points: &[DVec3]) -> bool {
        let topology = &self.ground.topology;
        let marks = self.ground.vertices_at(points, true);
        let mut near = vec![f64::INFINITY; self.ground.at.len()];
        let reach = OFF_BOUNDARY * self.ground.edge;
        self.ground.spread(&marks, reach, &mut near);
        (0..near.len() as u32).all(|v| near[v as usize] >= reach || !topology.is_boundary_vertex(v))
    }

    /// The stretches of a crease that are far enough from all that stands, on the sculpt.
    fn stretches(&self, crease: &Crease) -> Vec<(Vec<DVec3>, bool)> {
        let edge = self.ground.edge;
        let apart = APART * edge;
        let points = &crease.points;
        let in_front = |p: DVec3| {
            self.mirror
                .as_ref()
                .is_none_or(|plane| plane.height(p) >= -0.01 * edge)
        };
        let at_rim = self.near_boundary();
        let free: Vec<bool> = (0..points.len())
            .map(|i| {
                let (at, way) = (points[i], direction(points, crease.closed, i));
                in_front(at)
                    && self.clear_of_plane(at, way)
                    && [false, true].iter().all(|&rings| {
                        self.near(at, rings) >= apart || self.crosses_well(at, way, rings)
                    })
                    && self.nearest_of(&at_rim, at) >= OFF_BOUNDARY * edge
            })
            .collect();
        // A closed crease over the plane would be half a line: cut where it crosses.
        free_stretches(crease, &free, LEAST_LINE * edge)
            .into_iter()
            .filter_map(|stretch| {
                let mut points = stretch.points;
                if !stretch.closed {
                    // No end stands just off another.
                    let loose = |p: DVec3| self.near(p, true).min(self.near(p, false)) < apart;
                    while points.last().is_some_and(|&p| loose(p)) {
                        points.pop();
                    }
                    let count = points.iter().take_while(|p| loose(**p)).count();
                    points.drain(..count);
                }
                runs::smooth(&mut points, stretch.closed, 2);
                (points.len() > 2 && runs::length(&points, stretch.closed) >= LEAST_LINE * edge)
                    .then(|| (self.ground.onto_sculpt(&points), stretch.closed))
            })
            .collect()
    }

    /// Distance of each light vertex from the sculpt's boundary, as far as it matters.
    fn near_boundary(&self) -> Vec<f64> {
        let topology = &self.ground.topology;
        let rim: Vec<u32> = (0..self.ground.at.len() as u32)
            .filter(|&v| topology.is_boundary_vertex(v))
            .collect();
        let mut near = vec![f64::INFINITY; self.ground.at.len()];
        self.ground
            .spread(&rim, APART * self.ground.edge, &mut near);
        near
    }

    fn nearest_of(&self, near: &[f64], p: DVec3) -> f64 {
        self.ground.index.closest(p).map_or(f64::INFINITY, |c| {
            let corners = self.ground.topology.triangles[c.triangle as usize];
            corners
                .iter()
                .map(|&v| near[v as usize])
                .fold(f64::INFINITY, f64::min)
        })
    }
}

/// All that a crease turns, degrees.
fn winding(crease: &Crease) -> f64 {
    let ways: Vec<DVec3> = runs::pieces(crease.points.len(), crease.closed)
        .map(|(i, j)| crease.points[j] - crease.points[i])
        .collect();
    let turns = ways.windows(2).map(|w| w[0].angle_between(w[1]));
    turns.filter(|t| t.is_finite()).sum::<f64>().to_degrees()
}

/// Direction of a run at one of its points, over a quad or two to both sides; unit.
fn direction(points: &[DVec3], closed: bool, i: usize) -> DVec3 {
    const REACH: usize = 2;
    let count = points.len();
    let (before, after) = if closed {
        ((i + count - REACH.min(count)) % count, (i + REACH) % count)
    } else {
        (i.saturating_sub(REACH), (i + REACH).min(count - 1))
    };
    (points[after] - points[before]).normalize_or_zero()
}
