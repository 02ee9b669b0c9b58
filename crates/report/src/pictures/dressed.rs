//! Trims from near, and layers before and after the surface was cleared of them.

use base::Task;
use mesh::{DVec3, QuadMesh};

use super::draw::{Bench, Section, Sheet, hollow_px, kebab, painted, swatch};
use super::{Legend, close_up_frame, frame};
use crate::camera::{Camera, Frame};
use crate::canvas::Canvas;
use crate::input::{LayersView, ReportError, TrimView};
use crate::model::{Solid, Surface};
use crate::paint::{Drawn, Look, Quads, ground, layer, lining};

/// Mean edges seen on either side of the place where most was in the way.
const AROUND: f64 = 7.0;
/// Quads in the way that are asked how many others are near.
const ASKED: usize = 1500;

/// One trim from near, as its guide is seen.
pub(super) fn trim(bench: &Bench, trim: &TrimView, frame: Frame) -> Option<Sheet> {
    let (mesh, laid) = (bench.input.surface, bench.guides.get(trim.guide)?.as_ref()?);
    let solid = &bench.surface.solid;
    let middle = solid.places().sum::<DVec3>() / solid.positions.len().max(1) as f64;
    let (toward, _) = laid.outlook(bench.input.sculpt, middle);
    let side = laid.points.iter().sum::<DVec3>() / laid.points.len().max(1) as f64;
    // Of a trim and its image, the one at the guide.
    let reach = laid.points.iter().map(|p| p.distance(side));
    let reach = 1.6 * reach.fold(0.0, f64::max) + 4.0 * bench.surface.mean_edge;
    let quads = trim.quads.iter().map(|&q| mesh.quads.get(q as usize));
    let corners = quads
        .flatten()
        .flatten()
        .map(|&v| mesh.positions[v as usize]);
    let corners: Vec<DVec3> = corners.filter(|p| p.distance(side) <= reach).collect();
    let room = 1.5 * bench.surface.mean_edge;
    let camera = Camera::fitting(toward, padded(&corners, room), frame)?;
    let quads = Quads::new(&bench.surface, &camera, hollow_px(&camera));
    let inside = vec![swatch("the inner side, striped", lining(), Legend::Area)];
    Some(Sheet {
        name: format!("trim-{}", kebab(&trim.name)),
        section: Section::Trims,
        caption: format!("{}: {} quads.", trim.name, trim.quads.len()),
        legend: if quads.shows_lining() { inside } else { vec![] },
        canvas: painted(&quads, Look::Plain),
    })
}

fn padded(points: &[DVec3], room: f64) -> impl Iterator<Item = DVec3> {
    let axes = [DVec3::X, DVec3::Y, DVec3::Z];
    points.iter().flat_map(move |&p| {
        axes.into_iter()
            .flat_map(move |a| [p - room * a, p + room * a])
    })
}

/// The surface with its layers: the whole of it and the place where most was in the way, each
/// before and after.
pub(super) fn layers(
    bench: &Bench,
    view: &LayersView,
    task: &Task,
) -> Result<Vec<Sheet>, ReportError> {
    let before = Surface::new(view.before);
    let solids: Vec<Solid> = view
        .layers
        .iter()
        .map(|(_, mesh)| Solid::of_sculpt(mesh))
        .collect();
    let names: Vec<&str> = view.layers.iter().map(|(name, _)| *name).collect();
    let legend = vec![swatch(names.join(", "), layer(), Legend::Area)];
    let mut cameras = Vec::new();
    let all = || bench.input.surface.positions.iter().copied();
    for (key, words, toward) in [
        ("front", "from the front", DVec3::Z),
        ("back", "from the back", -DVec3::Z),
    ] {
        let camera = Camera::fitting(toward, all(), frame(bench.input));
        cameras.extend(camera.map(|camera| (key, words, camera)));
    }
    if let Some((at, normal)) = thickest(view.before, view.in_the_way, before.mean_edge) {
        let room = AROUND * before.mean_edge;
        let camera = Camera::fitting(normal, padded(&[at], room), close_up_frame(bench.input));
        cameras.extend(camera.map(|mut camera| {
            // What stands before the place isn't what is looked at.
            camera.near = camera.project(at + room * normal)[2];
            ("close", "where most was in the way", camera)
        }));
    }
    let mut sheets = Vec::new();
    for (key, words, camera) in &cameras {
        let drawn: Vec<Drawn> = solids
            .iter()
            .map(|solid| Drawn::new(solid, camera, hollow_px(camera)))
            .collect();
        for (when, surface) in [("before", &before), ("after", &bench.surface)] {
            task.checkpoint()?;
            let quads = Quads::new(surface, camera, hollow_px(camera));
            sheets.push(Sheet {
                name: format!("layers-{when}-{key}"),
                section: Section::Layers,
                caption: format!("{} clearing, {words}.", sentence_case(when)),
                legend: legend.clone(),
                canvas: together(&quads, &drawn, camera),
            });
        }
    }
    Ok(sheets)
}

fn sentence_case(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Of surface and layers at each sample the one that is nearest.
fn together(quads: &Quads, layers: &[Drawn], camera: &Camera) -> Canvas {
    Canvas::painted(camera.width, camera.height, ground(), |column, row| {
        let surface = quads.drawn.at(column, row);
        let seen = layers.iter().filter_map(|l| Some((l, l.at(column, row)?)));
        let first = seen.min_by(|a, b| a.1.depth.total_cmp(&b.1.depth));
        match (surface, first) {
            (Some(at), Some((_, under))) if at.depth <= under.depth => {
                Some(quads.colour(&at, Look::Plain))
            }
            (_, Some((drawn, at))) => Some(drawn.tinted(&at, layer())),
            (Some(at), None) => Some(quads.colour(&at, Look::Plain)),
            (None, None) => None,
        }
    })
}

/// Centre and unit normal of the quad in the way that has most others near.
fn thickest(mesh: &QuadMesh, quads: &[u32], mean_edge: f64) -> Option<(DVec3, DVec3)> {
    let quads = quads.iter().filter(|q| (**q as usize) < mesh.quads.len());
    let quads: Vec<u32> = quads.copied().collect();
    let step = quads.len().div_ceil(ASKED).max(1);
    let centres: Vec<DVec3> = quads.iter().map(|&q| mesh.centre(q as usize)).collect();
    let near = |i: usize| {
        let close = |p: &&DVec3| p.distance(centres[i]) < AROUND / 2.0 * mean_edge;
        centres.iter().filter(close).count()
    };
    let asked = (0..quads.len()).step_by(step);
    // Of equals the first.
    let most = asked.rev().max_by_key(|&i| near(i))?;
    let [a, b, c, d] = mesh.quads[quads[most] as usize].map(|v| mesh.positions[v as usize]);
    Some((centres[most], (c - a).cross(d - b).normalize_or(DVec3::Z)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{self, Sample};
    use crate::{LayersView, pictures};

    #[test]
    fn what_shows_through_is_seen_before_and_not_after() {
        let mut sample = Sample::new(200);
        let under = testing::sphere(48, 24);
        let mut before = sample.surface.clone();
        before.positions.iter_mut().for_each(|p| *p *= 0.93);
        sample.surface.positions.iter_mut().for_each(|p| *p *= 1.1);
        let in_the_way: Vec<u32> = (0..before.quads.len() as u32).collect();
        let layers = [("hat block", &under)];
        let mut input = sample.input();
        input.layers = Some(LayersView {
            layers: &layers,
            before: &before,
            in_the_way: &in_the_way,
        });
        let made = pictures(&input, &Task::default()).unwrap();
        let names: Vec<&str> = made.iter().map(|p| p.name.as_str()).collect();
        for when in ["before", "after"] {
            for key in ["front", "back", "close"] {
                assert!(names.contains(&format!("layers-{when}-{key}").as_str()));
            }
        }
        // Teal is the only tint with less red than blue by far.
        let teal = |name: &str| {
            let picture = made.iter().find(|p| p.name == name).unwrap();
            let decoder = ::png::Decoder::new(std::io::Cursor::new(&picture.png));
            let mut decoder = decoder;
            decoder.set_transformations(::png::Transformations::EXPAND);
            let mut reader = decoder.read_info().unwrap();
            let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
            reader.next_frame(&mut bytes).unwrap();
            let is = |p: &&[u8]| i32::from(p[2]) - i32::from(p[0]) > 40;
            bytes.chunks(3).filter(is).count() as f64 / (bytes.len() / 3) as f64
        };
        assert!(teal("layers-before-front") > 0.3);
        assert!(teal("layers-after-front") < 0.01);
    }

    #[test]
    fn a_trim_has_its_picture() {
        let sample = Sample::new(160);
        let mut input = sample.input();
        let trims = [TrimView {
            name: "Brim, rolled".into(),
            guide: 1,
            quads: (0..36).collect(),
        }];
        input.trims = &trims;
        let made = pictures(&input, &Task::default()).unwrap();
        assert!(made.iter().any(|p| p.name == "trim-brim-rolled"));
    }
}
