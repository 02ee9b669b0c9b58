//! The oilskin coat: from the plain shape to the draped, detailed sculpt with its guides.

use base::{Cancelled, Task};
use mesh::{DVec3, TriMesh};
use rayon::prelude::*;

use crate::cut::cut;
use crate::extract::extract;
use crate::guides::{Section, boundary_loops, sections};
use crate::relief::{CUFF, Relief, armhole_level};
use crate::shape::CoatShape;
use crate::wall::{Wall, from_quads};
use crate::{DemoGuide, DemoOptions, DemoSculpt, dummy};

/// Quads around each sleeve.
const SLEEVE_COUNT: u32 = 12;
/// Points of each guide.
const POINTS: usize = 64;

/// Makes the lighthouse keeper's oilskin coat as an artist would have sculpted it: a
/// single wall with openings at neck, wrists and hem; cm, y up, front +z, symmetric in
/// shape (not in mesh) about x = 0. The same options give the same bytes.
///
/// Time and memory are proportional to `triangles`, which is held within 10 thousand and
/// 8 million; the result has within about 5 % of it.
///
/// # Errors
/// [`Cancelled`] when `task` is.
pub fn coat(options: &DemoOptions, task: &Task) -> Result<DemoSculpt, Cancelled> {
    let shape = CoatShape::new();
    task.report("coat: plain shape", 0.0)?;
    let trial_cell = 1.6;
    let trial = plain_wall(&shape, trial_cell, task)?;
    let wanted = options.triangles.clamp(10_000, 8_000_000);
    let cell = trial_cell * (trial.triangles.len() as f64 / wanted as f64).sqrt();
    let plain = plain_wall(&shape, cell, task)?;
    task.report("coat: detail", 0.6)?;
    let mut wall = plain.clone();
    let relief = Relief::new(&shape, options.seed, cell);
    let normals = wall.normals();
    wall.positions = wall
        .positions
        .par_iter()
        .zip(&normals)
        .zip(&plain.positions)
        .map(|((p, n), rest)| *p + relief.height(*rest) * *n)
        .collect();
    task.report("coat: guides", 0.9)?;
    let mesh = wall.to_mesh();
    let guides = guides(&shape, &plain, &wall, &mesh);
    Ok(DemoSculpt {
        guides,
        under: dummy::under_layer(task)?,
        notes: format!(
            "A lighthouse keeper's oilskin coat, seed {}; plain shape by distance functions.",
            options.seed
        ),
        mesh,
    })
}

/// The plain shape as a wall with its openings cut, cells of edge `cell`.
fn plain_wall(shape: &CoatShape, cell: f64, task: &Task) -> Result<Wall, Cancelled> {
    let (low, high) = CoatShape::bounds();
    let soup = extract(shape, low, high, cell, task)?;
    let mut wall = from_quads(soup, shape, cell, 2);
    let openings = shape.openings();
    for (rail, opening) in openings.iter().enumerate() {
        task.checkpoint()?;
        cut(&mut wall, opening, rail as u8, shape, cell);
    }
    wall.relax(shape, &openings, cell, 3);
    Ok(wall)
}

struct Drawn<'a> {
    shape: &'a CoatShape,
    plain: &'a Wall,
    mesh: &'a TriMesh,
    guides: Vec<DemoGuide>,
}

fn guides(shape: &CoatShape, plain: &Wall, wall: &Wall, mesh: &TriMesh) -> Vec<DemoGuide> {
    let mut drawn = Drawn {
        shape,
        plain,
        mesh,
        guides: Vec::new(),
    };
    drawn.openings(wall);
    for (name, side) in [("left", 1.0), ("right", -1.0)] {
        drawn.sleeve(name, side);
    }
    let waist = drawn.plane(DVec3::new(0.0, 108.0, 0.0), DVec3::Y, |p| p.x.abs() < 27.0);
    drawn.ring("waist".to_owned(), None, waist, DVec3::new(0.0, 108.0, 0.0));
    let middle = drawn.plane(DVec3::ZERO, DVec3::X, |_| true);
    for (name, side) in [("front centre", 1.0), ("back centre", -1.0)] {
        let line = middle
            .iter()
            .filter(|s| !s.closed && s.centre().z * side > 0.0)
            .max_by(|a, b| a.length().total_cmp(&b.length()));
        if let Some(line) = line {
            let mut points = line.resampled(POINTS);
            if points[0].y < points[POINTS - 1].y {
                points.reverse();
            }
            drawn.guides.push(DemoGuide {
                name: name.to_owned(),
                kind: "line",
                closed: false,
                count: None,
                points,
            });
        }
    }
    drawn.guides
}

impl Drawn<'_> {
    fn openings(&mut self, wall: &Wall) {
        let loops = boundary_loops(self.mesh, &wall.boundary_next());
        for (opening, count) in self.shape.openings().iter().zip([
            Some(24),
            Some(SLEEVE_COUNT),
            Some(SLEEVE_COUNT),
            None,
        ]) {
            let nearest = loops.iter().min_by(|a, b| {
                a.centre()
                    .distance(opening.origin)
                    .total_cmp(&b.centre().distance(opening.origin))
            });
            if let Some(section) = nearest {
                self.guides.push(DemoGuide {
                    name: opening.name.to_owned(),
                    kind: "opening",
                    closed: true,
                    count,
                    points: section.resampled(if opening.name == "hem" { 100 } else { POINTS }),
                });
            }
        }
    }

    /// Sections of the finished mesh by a plane, where `keep` admits the vertices.
    fn plane(&self, origin: DVec3, normal: DVec3, keep: impl Fn(DVec3) -> bool) -> Vec<Section> {
        let at = |v: u32| self.mesh.positions[v as usize].as_dvec3();
        let level: Vec<f64> = self
            .mesh
            .positions
            .iter()
            .map(|p| (p.as_dvec3() - origin).dot(normal))
            .collect();
        sections(self.mesh, &level, |v| keep(at(v)))
    }

    /// Sections of the finished mesh by a level of the plain shape: they follow the cloth as seams do.
    fn seam(&self, level: impl Fn(DVec3) -> f64, keep: impl Fn(DVec3) -> bool) -> Vec<Section> {
        let values: Vec<f64> = self.plain.positions.iter().map(|p| level(*p)).collect();
        sections(self.mesh, &values, |v| {
            keep(self.plain.positions[v as usize])
        })
    }

    /// Keeps the longest closed section around `near`.
    fn ring(&mut self, name: String, count: Option<u32>, found: Vec<Section>, near: DVec3) {
        let best = found
            .into_iter()
            .filter(|s| s.closed && s.centre().distance(near) < 12.0)
            .max_by(|a, b| a.length().total_cmp(&b.length()));
        if let Some(section) = best {
            let points = section.resampled(POINTS);
            self.guides.push(DemoGuide {
                name,
                kind: "ring",
                closed: true,
                count,
                points,
            });
        }
    }

    fn sleeve(&mut self, side_name: &str, side: f64) {
        let flip = DVec3::new(side, 1.0, 1.0);
        let axis = self.shape.sleeve.clone();
        let on_side = move |p: DVec3| p.x * side > 3.0;
        let count = Some(SLEEVE_COUNT);
        let above_cuff = axis.length - CUFF - 1.2;
        let (near, _) = axis.at(above_cuff);
        let along = |p: DVec3| axis.place(p * flip).along;
        let cuff = self.seam(
            |p| along(p) - above_cuff,
            |p| on_side(p) && p.distance(near * flip) < 14.0,
        );
        self.ring(format!("{side_name} cuff"), count, cuff, near * flip);
        let (elbow, tangent) = axis.at(axis.bend());
        let found = self.plane(elbow * flip, tangent * flip, |p| {
            on_side(p) && p.distance(elbow * flip) < 16.0
        });
        self.ring(format!("{side_name} elbow"), count, found, elbow * flip);
        let (upper, tangent) = axis.at(0.5 * (axis.bend() + 12.0));
        let found = self.plane(upper * flip, tangent * flip, |p| {
            on_side(p) && p.distance(upper * flip) < 16.0
        });
        self.ring(format!("{side_name} upper arm"), count, found, upper * flip);
        let (head, _) = axis.at(9.0);
        let found = self.seam(
            |p| armhole_level(self.shape, p),
            |p| on_side(p) && p.distance(head * flip) < 24.0,
        );
        self.ring(format!("{side_name} armhole"), count, found, head * flip);
    }
}
