//! Loops, areas, pins and keep-outs in words.

use base::{Level, Place};

use super::super::intent::Met;
use super::super::{CheckInput, limits};
use super::{List, numbered};
use crate::model::AreaSize;

pub(super) fn intent(list: &mut List, input: &CheckInput<'_>, met: &Met) {
    let guide = |name: &str| Place::Guide {
        name: name.to_owned(),
    };
    for loops in &met.loops {
        let [one, two] = loops.found;
        let says = [
            format!(
                "Ring '{}' has {one} and {two} closed loops close beside it, as asked.",
                loops.name
            ),
            format!(
                "Ring '{}' has {one} and {two} closed loops close beside it, but {} on each side were asked: more faces, or fewer poles near it, would make room.",
                loops.name, loops.asked
            ),
        ];
        let found = f64::from(one + two);
        list.hold(
            "ring-loops",
            loops.short_of == 0,
            found,
            f64::from(2 * loops.asked),
            says,
            vec![guide(&loops.name)],
        );
    }
    for (index, beside) in &met.beside {
        let name = &input.guides[*index].name;
        if !beside.is_empty() {
            let says = numbered(
                beside.len(),
                [
                    &format!("1 pole lies on a vertex next to ring '{name}'."),
                    &format!("# poles lie on vertices next to ring '{name}'."),
                ],
            );
            let mut places = vec![guide(name)];
            places.extend(beside.iter().map(|&v| list.vertex(v)));
            list.remark(
                "ring-neighbour-poles",
                Level::Warn,
                beside.len() as f64,
                says,
                places,
            );
        }
    }
    for (area, wish) in met.areas.iter().zip(&input.intent.areas) {
        let Some(found) = area.found else {
            let sentence = format!(
                "Area '{}' holds no quad whole, so nothing can be said of its density; draw it larger.",
                area.name
            );
            list.remark("area-density", Level::Warn, 0.0, sentence, vec![]);
            continue;
        };
        let near = (found / area.asked).ln().abs() <= limits::AREA_SHARE.ln_1p();
        let level = if near { Level::Pass } else { Level::Warn };
        let mut sentence = match wish.size {
            AreaSize::Edge(asked) => format!(
                "The {} quads of area '{}' have edges of {found:.3}, {asked} asked.",
                area.quads, area.name
            ),
            AreaSize::Density(asked) => format!(
                "The {} quads of area '{}' are {found:.2} times as dense as elsewhere, {asked} asked.",
                area.quads, area.name
            ),
        };
        if !near {
            sentence += " Strips of quads run on beyond an area, so promised counts and few poles hold its density back.";
        }
        list.remark("area-density", level, found, sentence, vec![]);
    }
    for (pin, wish) in met.pins.iter().zip(&input.intent.pins) {
        let place = Place::Point {
            at: wish.at.to_array(),
        };
        let (name, valence) = (&pin.name, pin.valence);
        let says = [
            format!(
                "Pin '{name}' is met: a pole of {valence} lies {:.2} edge lengths from it.",
                pin.away.unwrap_or(0.0)
            ),
            match pin.away {
                Some(away) => format!(
                    "Pin '{name}' isn't met: the nearest pole of {valence} lies {away:.1} edge lengths from it."
                ),
                None => format!("Pin '{name}' isn't met: there is no pole of {valence}."),
            },
        ];
        let met = pin.away.is_some_and(|away| away <= limits::PIN_DISTANCE);
        let value = pin.away.unwrap_or(1e3);
        list.hold("pin", met, value, limits::PIN_DISTANCE, says, vec![place]);
    }
    for (keep_out, poles) in met.keep_outs.iter().zip(&met.kept_in) {
        let name = &keep_out.name;
        let places = poles.iter().map(|&v| list.vertex(v)).collect();
        let pass = format!("No pole lies in keep-out '{name}'.");
        let fail = [
            format!("1 pole lies in keep-out '{name}'."),
            format!("# poles lie in keep-out '{name}'."),
        ];
        list.none("keep-out", poles.len(), &pass, [&fail[0], &fail[1]], places);
    }
}
