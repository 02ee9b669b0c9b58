//! From the job to what the scene draws.

use std::collections::BTreeSet;

use engine::model::Plane;
use mesh::{DVec3, QuadMesh, TriMesh, Vec3, runs};
use render::{Hatch, Item, Look, Mark, Piece, Scene, Shape, Slot};

use super::{FRESH, Shown, View};
use crate::desk::Job;
use crate::palette::{self, Palette, Rgba};

const FINE: Slot = Slot(0);
const LIGHT: Slot = Slot(1);
const SURFACE: Slot = Slot(2);
const EDGES: Slot = Slot(3);
const CENTRE: Slot = Slot(4);
const TWINS: Slot = Slot(5);
const OUTLINE: Slot = Slot(6);
const GUIDES: Slot = Slot(7);
const POLES: Slot = Slot(8);
const WISHES: Slot = Slot(9);
const LINES: Slot = Slot(10);
const OPENINGS: Slot = Slot(11);
const PLACES: Slot = Slot(12);
const MARKED: Slot = Slot(13);
const MET: Slot = Slot(14);

/// Slot of a layer by its number: after all others, as many as there are.
fn layer_slot(number: usize) -> Slot {
    Slot(100 + number as u32)
}

/// Dashes tell kinds of guides apart without colour: rings have none, lines long ones, openings short ones.
const DASHES: [(Slot, f32); 3] = [(GUIDES, 0.0), (LINES, 16.0), (OPENINGS, 5.0)];

/// Corners of quads, told by their bits: which quads are in another surface too.
pub(super) type Shapes = BTreeSet<[[u64; 3]; 4]>;

fn shape(mesh: &QuadMesh, quad: &[u32; 4]) -> [[u64; 3]; 4] {
    quad.map(|v| mesh.positions[v as usize].to_array().map(f64::to_bits))
}

/// The corners of a quad, wherever it begins.
fn corners(mut quad: [[u64; 3]; 4]) -> [[u64; 3]; 4] {
    quad.sort_unstable();
    quad
}

/// The quads that the job holds, and their images.
fn held_corners(job: &Job, plane: Option<Plane>) -> Shapes {
    let mut all = Shapes::new();
    for hold in &job.held {
        for quad in &hold.quads {
            let points = quad.map(|v| hold.positions.get(v as usize).copied());
            let [Some(a), Some(b), Some(c), Some(d)] = points else {
                continue;
            };
            let own = [a, b, c, d];
            let bits = |points: [DVec3; 4]| corners(points.map(|p| p.to_array().map(f64::to_bits)));
            all.insert(bits(own));
            all.extend(plane.map(|plane| bits(own.map(|p| plane.mirror(p)))));
        }
    }
    all
}

/// The quads of a surface.
pub(super) fn shapes(mesh: &QuadMesh) -> Shapes {
    mesh.quads.iter().map(|quad| shape(mesh, quad)).collect()
}

/// Hands triangles to the scene; nothing of them stays here.
fn set_mesh(scene: &mut Scene, slot: Slot, mesh: &TriMesh, normals: &[Vec3]) {
    let plain = |all: &[Vec3]| all.iter().map(|p| p.to_array()).collect::<Vec<_>>();
    let item = Item::Mesh {
        positions: &plain(&mesh.positions),
        normals: &plain(normals),
        triangles: &mesh.triangles,
    };
    scene.set(slot, &item);
}

fn single(p: DVec3) -> [f32; 3] {
    p.as_vec3().to_array()
}

fn pieces(points: &[DVec3], closed: bool, colour: Rgba) -> Vec<Piece> {
    runs::pieces(points.len(), closed)
        .map(|(i, j)| Piece {
            ends: [single(points[i]), single(points[j])],
            colour,
        })
        .collect()
}

/// Half the mean length of a surface's edges: further than it lies from the sculpt, and less than limbs
/// are thick.
fn half_a_quad(mesh: &QuadMesh) -> f32 {
    let edges = mesh.topology().edges;
    let length = |ends: &[u32; 2]| {
        let [a, b] = ends.map(|v| mesh.positions[v as usize]);
        a.distance(b)
    };
    let sum: f64 = edges.iter().map(length).sum();
    (0.5 * sum / edges.len().max(1) as f64) as f32
}

impl View {
    /// Brings the scene up to date; answers whether it will look different soon by itself.
    pub(super) fn update(
        &mut self,
        scene: &mut Scene,
        job: Option<&Job>,
        picked: Option<&str>,
        colours: &Palette,
    ) -> bool {
        if std::mem::take(&mut self.stale.sculpt) {
            match self.fine.take() {
                Some(sculpt) => set_mesh(scene, FINE, &sculpt.mesh, &sculpt.normals),
                None => scene.clear(FINE),
            }
            match self.light.take() {
                Some(mesh) => set_mesh(scene, LIGHT, &mesh, &mesh.vertex_normals()),
                None => scene.clear(LIGHT),
            }
        }
        if std::mem::take(&mut self.stale.layers) {
            for (i, layer) in self.layers.iter().enumerate() {
                let sculpt = &layer.sculpt;
                set_mesh(scene, layer_slot(i), &sculpt.mesh, &sculpt.normals);
            }
            for i in self.layers.len()..std::mem::replace(&mut self.layer_slots, self.layers.len())
            {
                scene.clear(layer_slot(i));
            }
        }
        let lit = self
            .fresh
            .as_ref()
            .is_some_and(|(_, since)| since.elapsed() < FRESH);
        if !lit && self.fresh.take().is_some() {
            self.stale.surface = true;
        }
        if std::mem::take(&mut self.stale.surface) {
            self.set_surface(scene, job, colours);
            let surface = job.and_then(Job::surface);
            self.half_a_quad = surface.map_or(0.0, half_a_quad);
        }
        if std::mem::take(&mut self.stale.guides) {
            set_guides(scene, job, picked, colours);
        }
        scene.set(MET, &Item::Marks(&self.met(job)));
        // Many are told apart if they are small.
        let pixels = if self.marked.len() > 8 { 15.0 } else { 30.0 };
        let mark = |&p: &DVec3| Mark::new(single(p), pixels, colours.fresh, Shape::Ring);
        let marked: Vec<Mark> = self.marked.iter().map(mark).collect();
        scene.set(MARKED, &Item::Marks(&marked));
        self.looks(scene, colours);
        lit
    }

    /// Where layers that are shown were in the surface's way.
    fn met(&self, job: Option<&Job>) -> Vec<Mark> {
        let layered = job.and_then(|job| job.done.as_ref()?.layered.as_ref());
        let all = layered.into_iter().flat_map(|layered| &layered.met);
        let shown = self.layers.iter().zip(all).enumerate();
        let shown = shown.filter(|(_, (layer, _))| layer.shown != Shown::Hidden);
        shown
            .flat_map(|(i, (_, places))| {
                let colour = palette::of_layer(i).faces[0];
                let mark = move |&p: &DVec3| Mark::new(single(p), 12.0, colour, Shape::Triangle);
                places.iter().map(mark)
            })
            .collect()
    }

    fn looks(&self, scene: &mut Scene, colours: &Palette) {
        let of = |shown: Shown, ghost: f32| match shown {
            Shown::Full => (true, 1.0),
            Shown::Ghost => (true, ghost),
            Shown::Hidden => (false, 1.0),
        };
        let (sculpt_shown, sculpt_opacity) = of(self.sculpt, 0.25);
        let (surface_shown, surface_opacity) = of(self.surface, 0.4);
        // The surface lies now over the sculpt, now under it; shown whole, it is drawn over the sculpt,
        // together with all that lies on it.
        let over = if self.surface == Shown::Full {
            self.half_a_quad
        } else {
            0.0
        };
        let light = self.turning && self.has_light;
        for (slot, here) in [(FINE, !light), (LIGHT, light)] {
            scene.set_look(
                slot,
                Look {
                    shown: sculpt_shown && here,
                    opacity: sculpt_opacity,
                    colour: colours.sculpt[0],
                    inside: colours.sculpt[1],
                    ..Look::default()
                },
            );
        }
        scene.set_look(
            SURFACE,
            Look {
                shown: surface_shown,
                opacity: surface_opacity,
                inside: colours.surface[1],
                over,
                ..Look::default()
            },
        );
        for (i, layer) in self.layers.iter().enumerate() {
            let (shown, opacity) = of(layer.shown, 0.35);
            let own = palette::of_layer(i);
            let look = Look {
                shown,
                opacity,
                colour: own.faces[0],
                inside: own.faces[1],
                // As deep as the surface: which of the two is nearer must be seen.
                over,
                hatch: Some(Hatch {
                    degrees: own.strokes,
                    apart: 7.0,
                    width: 2.0,
                    shade: 0.62,
                }),
                ..Look::default()
            };
            scene.set_look(layer_slot(i), look);
        }
        let line = |shown, width, hidden| Look {
            shown,
            width,
            hidden,
            over,
            colour: colours.outline,
            ..Look::default()
        };
        let faded = Look {
            opacity: surface_opacity,
            ..line(surface_shown, 1.2, false)
        };
        scene.set_look(EDGES, faded);
        scene.set_look(CENTRE, line(true, 1.0, false));
        scene.set_look(TWINS, line(true, 1.5, false));
        scene.set_look(OUTLINE, line(true, 6.5, false));
        for (slot, dash) in DASHES {
            let guides = line(true, 3.0, self.through);
            scene.set_look(slot, Look { dash, ..guides });
        }
        scene.set_look(PLACES, line(true, 2.0, self.through));
        scene.set_look(POLES, line(surface_shown, 1.0, false));
        scene.set_look(WISHES, line(true, 2.0, self.through));
        scene.set_look(MET, line(true, 1.0, true));
        scene.set_look(MARKED, line(true, 1.0, true));
    }

    fn set_surface(&self, scene: &mut Scene, job: Option<&Job>, colours: &Palette) {
        let shown = job.and_then(|job| Some((job.outcome.as_ref()?, job.surface()?)));
        let Some((outcome, surface)) = shown else {
            [SURFACE, EDGES, POLES]
                .into_iter()
                .for_each(|slot| scene.clear(slot));
            return;
        };
        let positions: Vec<[f32; 3]> = surface.positions.iter().map(|&p| single(p)).collect();
        let before = self.fresh.as_ref().map(|f| &f.0);
        let held = job.map_or_else(BTreeSet::new, |job| held_corners(job, outcome.plane));
        let colour = |quad: &[u32; 4]| match before {
            Some(before) if !before.contains(&shape(surface, quad)) => colours.fresh,
            _ if held.contains(&corners(shape(surface, quad))) => colours.held,
            _ => colours.surface[0],
        };
        let tints: Vec<Rgba> = surface.quads.iter().map(colour).collect();
        scene.set(
            SURFACE,
            &Item::Quads {
                positions: &positions,
                quads: &surface.quads,
                colours: &tints,
            },
        );
        let topology = surface.topology();
        let edge = |ends: &[u32; 2]| Piece {
            ends: ends.map(|v| positions[v as usize]),
            colour: colours.edges,
        };
        let edges: Vec<Piece> = topology.edges.iter().map(edge).collect();
        scene.set(EDGES, &Item::Lines(&edges));
        let mark = |pole: &engine::assemble::Pole| {
            let shape = if pole.valence == 3 {
                Shape::Tip
            } else {
                Shape::Disc
            };
            let at = positions[pole.vertex as usize];
            Mark::new(at, 13.0, palette::of_pole(pole.valence), shape)
        };
        let poles: Vec<Mark> = outcome.poles.iter().map(mark).collect();
        scene.set(POLES, &Item::Marks(&poles));
    }
}

fn set_guides(scene: &mut Scene, job: Option<&Job>, picked: Option<&str>, colours: &Palette) {
    let (mut places, mut twins, mut outline, mut wishes) = (vec![], vec![], vec![], vec![]);
    let mut lines = [vec![], vec![], vec![]];
    if let Some(job) = job {
        let plane = job.plane();
        let tolerance = job.tolerance();
        for guide in &job.document.spec().guides {
            let colour = palette::of_kind(guide.kind);
            let of = |points: &[DVec3], colour| pieces(points, guide.closed, colour);
            let kind = match guide.kind {
                files::GuideKind::Ring => 0,
                files::GuideKind::Line => 1,
                files::GuideKind::Opening => 2,
            };
            lines[kind].extend(of(&guide.points, colour));
            if picked == Some(guide.name.as_str()) {
                outline.extend(of(&guide.points, colours.outline));
                let grips = guide.points.iter();
                wishes.extend(grips.map(|&p| Mark::new(single(p), 9.0, colour, Shape::Square)));
            }
            let twin = plane.and_then(|plane: Plane| job.pen.twin(&guide.points, plane, tolerance));
            twins.extend(twin.iter().flat_map(|points| {
                let [r, g, b, _] = colour;
                of(points, [r, g, b, 110])
            }));
        }
        for pin in &job.document.spec().pins {
            wishes.push(Mark::new(
                single(pin.at),
                18.0,
                palette::of_pole(pin.valence),
                Shape::Ring,
            ));
        }
        let spec = job.document.spec();
        let barred = spec.keep_outs.iter().filter_map(|k| match &k.place {
            files::KeepOutPlace::Region(region) => Some((region, colours.barred)),
            files::KeepOutPlace::Guide { .. } => None,
        });
        let areas = spec.areas.iter().map(|a| (&a.region, colours.area));
        for (region, colour) in barred.chain(areas) {
            places.extend(match region {
                files::RegionSpec::Around { at, reach } => circle(job, *at, *reach, colour),
                files::RegionSpec::Outline(points) => pieces(points, true, colour),
            });
        }
    }
    for ((slot, _), lines) in DASHES.iter().zip(&lines) {
        scene.set(*slot, &Item::Lines(lines));
    }
    scene.set(PLACES, &Item::Lines(&places));
    scene.set(TWINS, &Item::Lines(&twins));
    scene.set(OUTLINE, &Item::Lines(&outline));
    scene.set(WISHES, &Item::Marks(&wishes));
}

/// About where a distance from a point ends on the sculpt.
pub(super) fn circle(job: &Job, at: DVec3, reach: f64, colour: Rgba) -> Vec<Piece> {
    let sculpt = job.pen.sculpt();
    let Some(found) = sculpt.index.closest(at) else {
        return Vec::new();
    };
    let normal = sculpt
        .mesh
        .area_normal(found.triangle as usize)
        .normalize_or(DVec3::Y);
    let one = normal.any_orthonormal_vector();
    let two = normal.cross(one);
    let point = |i: u32| {
        let (sin, cos) = (std::f64::consts::TAU * f64::from(i) / 48.0).sin_cos();
        job.pen.onto(at + (one * cos + two * sin) * reach)
    };
    let points: Vec<DVec3> = (0..48).map(point).collect();
    pieces(&points, true, colour)
}
