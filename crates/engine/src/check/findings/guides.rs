//! Guides in words.

use base::{Level, Place};
use mesh::DVec3;

use super::super::guides::Following;
use super::super::measures::GuideMeasures;
use super::super::rings::Cycle;
use super::super::{limits, poles_on};
use super::{List, numbered};
use crate::model::{Guide, GuideKind};

pub(super) fn follow(
    list: &mut List,
    guide: &Guide,
    measured: &GuideMeasures,
    cycle: Option<&Cycle>,
    following: &Following,
) {
    let name = &guide.name;
    let here = || {
        vec![Place::Guide {
            name: name.to_owned(),
        }]
    };
    let with = |p: DVec3| {
        let at = p.to_array();
        [here(), vec![Place::Point { at }]].concat()
    };
    let kind = match guide.kind {
        GuideKind::Ring => "Ring",
        GuideKind::Line => "Line",
        GuideKind::Opening => "Opening",
        GuideKind::Hold => "Rim",
    };
    if guide.closed && guide.kind != GuideKind::Line {
        follow_ring(list, guide, measured, cycle, kind);
    }
    if guide.kind == GuideKind::Opening {
        let says = [
            format!("The surface ends at opening '{name}'."),
            format!("The surface doesn't end at opening '{name}'."),
        ];
        let value = f64::from(u8::from(measured.on_boundary));
        list.hold(
            "opening-boundary",
            measured.on_boundary,
            value,
            1.0,
            says,
            here(),
        );
    }
    let distance = measured.distance_p95;
    let says = [
        format!("{kind} '{name}' is followed within {distance:.2} edge lengths."),
        format!(
            "Edges run up to {distance:.2} edge lengths away from {} '{name}'.",
            kind.to_lowercase()
        ),
    ];
    let holds = distance <= limits::GUIDE_DISTANCE;
    list.hold(
        "guide-distance",
        holds,
        distance,
        limits::GUIDE_DISTANCE,
        says,
        with(following.farthest),
    );
    let angle = measured.angle_p95_deg;
    let says = [
        format!(
            "Edges run along {} '{name}' within {angle:.0}°.",
            kind.to_lowercase()
        ),
        format!(
            "Edges cross {} '{name}' at up to {angle:.0}°.",
            kind.to_lowercase()
        ),
    ];
    let holds = angle <= limits::GUIDE_ANGLE_DEG;
    list.hold(
        "guide-angle",
        holds,
        angle,
        limits::GUIDE_ANGLE_DEG,
        says,
        with(following.most_turned),
    );
}

fn follow_ring(
    list: &mut List,
    guide: &Guide,
    measured: &GuideMeasures,
    cycle: Option<&Cycle>,
    kind: &str,
) {
    let name = &guide.name;
    let mut here = vec![Place::Guide {
        name: name.to_owned(),
    }];
    let Some(length) = measured.cycle_length else {
        let says = [
            "",
            &format!(
                "No closed run of edges follows {} '{name}'.",
                kind.to_lowercase()
            ),
        ];
        let says = says.map(str::to_owned);
        list.hold("guide-cycle", false, 0.0, 1.0, says, here.clone());
        if let Some(count) = guide.count {
            let says = [
                String::new(),
                format!("{kind} '{name}' has no run of {count} edges, as was asked."),
            ];
            list.hold("guide-count", false, 0.0, f64::from(count), says, here);
        }
        return;
    };
    if let Some(slant) = measured.slant_deg.filter(|&s| s > limits::SLANT_DEG) {
        let sentence = format!(
            "Ring '{name}' leans {slant:.0}° off square to the limb that it goes around, and rows beside it lean as well; draw it square to the limb, or leave it out, if that isn't meant."
        );
        list.remark("ring-slant", Level::Warn, slant, sentence, here.clone());
    }
    let edges = numbered(length, ["1 edge", "# edges"]);
    match guide.count {
        None => {
            let says = [
                format!("{kind} '{name}' is a closed run of {edges}."),
                String::new(),
            ];
            list.hold("guide-cycle", true, 1.0, 1.0, says, vec![]);
        }
        Some(count) => {
            let says = [
                format!("{kind} '{name}' has {edges}, as asked."),
                format!("{kind} '{name}' has {edges}, but {count} were asked."),
            ];
            let holds = length == count as usize;
            list.hold(
                "guide-count",
                holds,
                length as f64,
                f64::from(count),
                says,
                here.clone(),
            );
        }
    }
    if guide.kind == GuideKind::Ring {
        if let Some(cycle) = cycle {
            let poles = poles_on(cycle, list.surface).map(|v| list.vertex(v));
            here.extend(poles);
        }
        let pass = format!("No pole lies on ring '{name}'.");
        let fail = [
            &format!("1 pole lies on ring '{name}'."),
            &format!("# poles lie on ring '{name}'."),
        ];
        list.none(
            "ring-poles",
            measured.poles,
            &pass,
            fail.map(String::as_str),
            here,
        );
    }
}
