//! Where a limb wants a ring: bends, changes of girth, narrow and wide places, its root, and
//! behind its opening.

use mesh::DVec3;

use super::chains::End;
use super::limbs::Limb;
use super::runs::blurred;

/// A bend turns by at least this much over its length, degrees.
const LEAST_TURN: f64 = 20.0;
/// And at its middle by this much over a way as long as the limb's radius, radians.
const SHARP: f64 = 0.12;
/// Width of the bell that smooths the middle line's direction, in radii.
const BLUR: f64 = 0.35;
/// Within this share of the greatest curvature a bend is as good as even.
const EVEN: f64 = 0.9;
/// Radius gained on way that makes a step.
const STEEP: f64 = 0.45;
/// Girth behind a step over girth before it: the least that is one,
const LEAST_STEP: f64 = 1.15;
/// and from here on the limb ends in a body.
const BODY: f64 = 1.9;
/// A narrow or wide place differs by this share of its girth from both sides.
const PROMINENCE: f64 = 0.1;
/// No ring this near to a cap, in radii, nor in quads,
const OFF_CAP: (f64, f64) = (0.8, 3.0);
/// nor nearer to a boundary, in quads.
const OFF_BOUNDARY: f64 = 3.0;
/// A root's ring stands this far in front of the body, in quads.
const OFF_BODY: f64 = 2.0;
/// An opening wants a ring behind it if the limb is as long, in quads.
const CUFF: f64 = 9.0;

/// No bend this near to a cap or a body, in radii.
const ROUND_END: (f64, f64) = (1.5, 0.5);

/// A place on a limb.
#[derive(Clone, Debug)]
pub(super) struct Place {
    /// Index of the station.
    pub station: usize,
    /// Word for names.
    pub word: &'static str,
    pub reason: String,
    /// 0 to 1.
    pub confidence: f64,
}

/// A limb cut where it goes over into a body, with its places.
pub(super) fn places(limb: &mut Limb, edge: f64) -> Vec<Place> {
    let steps = cut_at_bodies(limb, edge);
    let mut all = Vec::new();
    all.extend(bends(limb));
    all.retain(|bend| clear_of_round_ends(limb, bend.station));
    all.extend(steps);
    all.extend(narrow_and_wide(limb));
    all.extend(roots(limb, edge));
    all.extend(cuffs(limb, edge));
    let found_one = all.iter().any(|p| p.confidence >= 0.4);
    if !found_one && limb.ends == [End::Body; 2] {
        all.extend(middle(limb));
    }
    all.retain(|place| clear_of_ends(limb, place.station, edge));
    all
}

fn clear_of_ends(limb: &Limb, station: usize, edge: f64) -> bool {
    let Some(at) = limb.stations.get(station) else {
        return false;
    };
    let ways = [at.way, limb.length() - at.way];
    limb.ends.iter().zip(ways).all(|(end, way)| match end {
        End::Cap => way >= (OFF_CAP.0 * at.radius()).max(OFF_CAP.1 * edge),
        End::Boundary => way >= (OFF_BOUNDARY - 0.25) * edge,
        End::Body => true,
    })
}

/// Whether a bend is none of a round end, whose middle line may turn anyhow.
fn clear_of_round_ends(limb: &Limb, station: usize) -> bool {
    let Some(at) = limb.stations.get(station) else {
        return false;
    };
    let ways = [at.way, limb.length() - at.way];
    limb.ends.iter().zip(ways).all(|(end, way)| match end {
        End::Cap => way >= ROUND_END.0 * at.radius(),
        End::Body => way >= ROUND_END.1 * at.radius(),
        End::Boundary => true,
    })
}

/// Gain of radius over way at each station.
fn slopes(limb: &Limb) -> Vec<f64> {
    let s = &limb.stations;
    let last = s.len() - 1;
    (0..s.len())
        .map(|i| {
            let (a, b) = (&s[i.saturating_sub(1)], &s[(i + 1).min(last)]);
            (b.radius() - a.radius()) / (b.way - a.way).max(1e-12)
        })
        .collect()
}

/// Stretches of steep change of girth. Those that lead into a body end the limb; the others
/// are steps.
fn cut_at_bodies(limb: &mut Limb, edge: f64) -> Vec<Place> {
    let slopes = slopes(limb);
    let mut found: Vec<(usize, usize)> = Vec::new();
    let mut i = 0;
    while i < slopes.len() {
        let (sign, mut j) = (slopes[i].signum(), i);
        if slopes[i].abs() > STEEP {
            // The whole stretch that is half as steep as its steepest place.
            let steep = |k: &usize| sign * slopes[*k] > STEEP;
            let steepest = (i..slopes.len()).take_while(steep).map(|k| slopes[k].abs());
            let least = 0.5 * steepest.fold(STEEP, f64::max);
            let goes_on = |k: usize| slopes.get(k).is_some_and(|s| sign * s > least);
            let mut low = i;
            while low > 0 && goes_on(low - 1) {
                low -= 1;
            }
            while goes_on(j + 1) {
                j += 1;
            }
            if j > low {
                found.push((low, j));
            }
        }
        i = j + 1;
    }
    // A cap is steep, but no step.
    let last = slopes.len() - 1;
    let ends = limb.ends;
    let at_cap = |&(i, j): &(usize, usize)| {
        let radius = |k: usize| limb.stations[k].radius();
        let near = |way: f64, k: usize| way < 1.2 * radius(k);
        (ends[0] == End::Cap && near(limb.stations[i].way, j))
            || (ends[1] == End::Cap && near(limb.length() - limb.stations[j].way, i))
    };
    found.retain(|f| !at_cap(f));
    let (mut from, mut to) = (0, last);
    let mut steps = Vec::new();
    for (i, j) in found {
        let (a, b) = (limb.stations[i].girth, limb.stations[j].girth);
        let ratio = (b / a).max(a / b);
        if ratio < LEAST_STEP {
            continue;
        }
        if ratio < BODY {
            steps.push((i, j, ratio));
        } else if b > a {
            // The limb lies before the steep stretch if more of it does, else behind it.
            if i >= last - j {
                to = to.min(i);
                limb.ends[1] = End::Body;
            } else {
                from = from.max(j);
                limb.ends[0] = End::Body;
            }
        } else if last - j >= i {
            from = from.max(j);
            limb.ends[0] = End::Body;
        } else {
            to = to.min(i);
            limb.ends[1] = End::Body;
        }
    }
    let mut places = Vec::new();
    for (i, j, ratio) in steps {
        if i < from || j > to {
            continue;
        }
        let (narrow, wide) = if limb.stations[i].girth < limb.stations[j].girth {
            (i, j)
        } else {
            (j, i)
        };
        let percent = 100.0 * (ratio - 1.0);
        let confidence = 0.45 + 0.35 * ((ratio - 1.0) / 0.6).min(1.0);
        let far = limb.stations[i].way.max(limb.stations[j].way)
            - limb.stations[i].way.min(limb.stations[j].way);
        for (station, side, confidence) in [
            (narrow, "narrow", confidence),
            (wide, "wide", confidence - 0.1),
        ] {
            if side == "wide" && far < 3.0 * edge {
                continue;
            }
            places.push(Place {
                station,
                word: "step",
                reason: format!(
                    "the girth steps by {percent:.0} %; this is the {side} side of the step"
                ),
                confidence,
            });
        }
    }
    if from < to && (from > 0 || to < last) {
        limb.stations = limb.stations.drain(from..=to).collect();
        let zero = limb.stations[0].way;
        limb.stations.iter_mut().for_each(|s| s.way -= zero);
        places.iter_mut().for_each(|p| p.station -= from);
    }
    places
}

fn bends(limb: &Limb) -> Vec<Place> {
    let s = &limb.stations;
    let width = BLUR * limb.girth() / std::f64::consts::TAU / limb.step;
    let along: Vec<DVec3> = s.iter().map(|s| s.along).collect();
    let along: Vec<DVec3> = blurred(&along, width)
        .iter()
        .map(|a| a.normalize_or_zero())
        .collect();
    let last = s.len() - 1;
    let turn = |i: usize, j: usize| along[i].angle_between(along[j]);
    // Turning per way, times radius: of any size alike.
    let bent: Vec<f64> = (0..s.len())
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(last));
            turn(a, b) / ((b - a).max(1) as f64 * limb.step) * s[i].radius()
        })
        .collect();
    let mut found = Vec::new();
    let mut i = 0;
    while i <= last {
        if bent[i] < SHARP / 2.0 {
            i += 1;
            continue;
        }
        let mut j = i;
        while j < last && bent[j + 1] >= SHARP / 2.0 {
            j += 1;
        }
        found.extend(bend(&bent, &along, i, j));
        i = j + 1;
    }
    found
}

/// The bend between two stations, if it turns enough.
fn bend(bent: &[f64], along: &[DVec3], i: usize, j: usize) -> Option<Place> {
    let turned: f64 = (i..j).map(|k| along[k].angle_between(along[k + 1])).sum();
    let degrees = turned.to_degrees();
    let sharpest = (i..=j).max_by(|&a, &b| bent[a].total_cmp(&bent[b]).then(b.cmp(&a)))?;
    if degrees < LEAST_TURN || bent[sharpest] < SHARP {
        return None;
    }
    // An even bend has no sharpest place: the middle of what is as sharp.
    let even = |k: usize| bent[k] >= EVEN * bent[sharpest];
    let low = (i..=sharpest).rev().take_while(|&k| even(k)).last()?;
    let high = (sharpest..=j).take_while(|&k| even(k)).last()?;
    Some(Place {
        station: (low + high) / 2,
        word: "bend",
        reason: format!(
            "the limb bends by {degrees:.0}° here; a loop around the bend lets it bend cleanly"
        ),
        confidence: 0.5 + 0.4 * ((degrees - LEAST_TURN) / 60.0).min(1.0),
    })
}

/// Least and greatest girths between greater and lesser ones.
fn narrow_and_wide(limb: &Limb) -> Vec<Place> {
    let girth: Vec<f64> = limb.stations.iter().map(|s| s.girth).collect();
    let mut found = Vec::new();
    for (sign, word, what) in [
        (-1.0, "narrowest", "the girth is least here"),
        (1.0, "widest", "the girth is greatest here"),
    ] {
        let high = |i: usize| sign * girth[i].ln();
        for i in 1..girth.len().saturating_sub(1) {
            if sign > 0.0 && !clear_of_round_ends(limb, i) {
                continue; // any round end is widest somewhere
            }
            if !(high(i) > high(i - 1) && high(i) >= high(i + 1)) {
                continue;
            }
            let drop = |way: &mut dyn Iterator<Item = usize>| {
                let mut most: f64 = 0.0;
                for k in way {
                    if high(k) > high(i) {
                        break;
                    }
                    most = most.max(high(i) - high(k));
                }
                most
            };
            let least = drop(&mut (0..i).rev()).min(drop(&mut (i + 1..girth.len())));
            if least < PROMINENCE {
                continue;
            }
            let percent = 100.0 * (least.exp() - 1.0);
            found.push(Place {
                station: i,
                word,
                reason: format!("{what}, by {percent:.0} % against both sides"),
                confidence: if sign < 0.0 { 0.5 } else { 0.35 } + (least - PROMINENCE).min(0.35),
            });
        }
    }
    found
}

/// In front of the bodies that the limb grows out of.
fn roots(limb: &Limb, edge: f64) -> Vec<Place> {
    let mut found = Vec::new();
    // Between two bodies there is no root, only a way through.
    if limb.ends == [End::Body; 2] {
        return found;
    }
    let off = OFF_BODY * edge;
    if limb.length() < off + limb.girth() / std::f64::consts::TAU {
        return found;
    }
    let ways = [(0, off), (1, limb.length() - off)];
    for (end, way) in ways {
        if limb.ends[end] == End::Body {
            found.push(Place {
                station: ((way / limb.step).round() as usize).min(limb.stations.len() - 1),
                word: "root",
                reason: "here the limb branches off; a loop around its root keeps the limb's \
                    loops closed"
                    .to_owned(),
                confidence: 0.6,
            });
        }
    }
    found
}

/// Behind the openings.
fn cuffs(limb: &Limb, edge: f64) -> Vec<Place> {
    let mut found = Vec::new();
    if limb.length() < CUFF * edge {
        return found;
    }
    let off = (OFF_BOUNDARY + 0.25) * edge;
    for (end, way) in [(0, off), (1, limb.length() - off)] {
        if limb.ends[end] == End::Boundary {
            found.push(Place {
                station: ((way / limb.step).round() as usize).min(limb.stations.len() - 1),
                word: "behind opening",
                reason: "a loop just inside the opening holds the strip along its edge".to_owned(),
                confidence: 0.4,
            });
        }
    }
    found
}

/// Halfway along a handle that nothing else marks.
fn middle(limb: &Limb) -> Option<Place> {
    (limb.length() >= limb.girth() / 2.0).then(|| Place {
        station: limb.stations.len() / 2,
        word: "middle",
        reason: "nothing else marks this handle; a loop around it keeps its loops closed"
            .to_owned(),
        confidence: 0.45,
    })
}
