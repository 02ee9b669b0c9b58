//! From the job to what the scene draws.

use std::collections::BTreeSet;

use engine::model::Plane;
use mesh::{DVec3, QuadMesh, TriMesh, runs};
use render::{Item, Look, Mark, Piece, Scene, Shape, Slot};

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

/// Unit vertex normals, weighted by area.
pub(super) fn normals(mesh: &TriMesh) -> Vec<[f32; 3]> {
    let mut sums = vec![DVec3::ZERO; mesh.positions.len()];
    for (t, corners) in mesh.triangles.iter().enumerate() {
        let normal = mesh.area_normal(t);
        corners.iter().for_each(|&v| sums[v as usize] += normal);
    }
    let unit = |n: &DVec3| n.normalize_or_zero().as_vec3().to_array();
    sums.iter().map(unit).collect()
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
            for (slot, mesh) in [(FINE, &self.fine), (LIGHT, &self.light)] {
                match mesh {
                    Some(mesh) => scene.set(
                        slot,
                        &Item::Mesh {
                            positions: &mesh.positions,
                            normals: &mesh.normals,
                            triangles: &mesh.triangles,
                        },
                    ),
                    None => scene.clear(slot),
                }
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
            let surface = job.and_then(|job| job.outcome.as_ref());
            self.half_a_quad = surface.map_or(0.0, |outcome| half_a_quad(&outcome.surface));
        }
        if std::mem::take(&mut self.stale.guides) {
            set_guides(scene, job, picked, colours);
        }
        let marked: Vec<Mark> = self
            .marked
            .iter()
            .map(|&p| Mark::new(single(p), 30.0, colours.fresh, Shape::Ring))
            .collect();
        scene.set(MARKED, &Item::Marks(&marked));
        self.looks(scene, colours);
        lit
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
        let light = self.turning && self.light.is_some();
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
        scene.set_look(MARKED, line(true, 1.0, true));
    }

    fn set_surface(&self, scene: &mut Scene, job: Option<&Job>, colours: &Palette) {
        let Some(outcome) = job.and_then(|job| job.outcome.as_ref()) else {
            [SURFACE, EDGES, POLES]
                .into_iter()
                .for_each(|slot| scene.clear(slot));
            return;
        };
        let surface = &outcome.surface;
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
