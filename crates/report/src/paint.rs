//! What the samples of a picture look like: stone for the sculpt, quads with their edges for
//! the surface.

use mesh::Vec3;

use crate::camera::Camera;
use crate::colour::{PATCH_TINTS, Rgb, distance_scale, mix, patch_tint, scaled, srgb};
use crate::fidelity::Fidelity;
use crate::light::{Openness, lit};
use crate::model::{Solid, Surface};
use crate::raster::{Layer, SAMPLES};
use crate::strokes::along;

/// Tint of the ground behind everything.
pub(crate) fn ground() -> Rgb {
    srgb(0xe9_eaec)
}

/// Tint of the edges between quads.
pub(crate) fn ink() -> Rgb {
    srgb(0x1d_2a36)
}

fn stone() -> Rgb {
    srgb(0xb9_b2a8)
}

fn porcelain() -> Rgb {
    srgb(0xf0_ece2)
}

/// Tint of the surface's inner side; striped as well, for eyes that can't tell the tints.
pub(crate) fn lining() -> Rgb {
    srgb(0xb0_5a78)
}

/// Tint of layers: dark, so that what shows through the surface is told from it by anyone.
pub(crate) fn layer() -> Rgb {
    srgb(0x1f_6f86)
}

/// Something projected and seen.
pub(crate) struct Drawn<'a> {
    pub camera: &'a Camera,
    solid: &'a Solid<'a>,
    pub corners: Vec<[f32; 3]>,
    pub layer: Layer,
    open: Openness,
}

/// What one sample sees.
#[derive(Clone, Copy)]
pub(crate) struct At {
    pub triangle: u32,
    /// Barycentric weights of the triangle's corners.
    weights: [f32; 3],
    pub depth: f32,
    /// Pixels from the left and the top.
    place: [f32; 2],
    /// Whether the outer side is seen.
    front: bool,
}

impl<'a> Drawn<'a> {
    /// Hollows of about `reach` pixels are darkened.
    pub fn new(solid: &'a Solid<'a>, camera: &'a Camera, reach: f32) -> Self {
        let corners = solid.project(camera);
        let layer = Layer::new(camera, &corners, &solid.triangles);
        let open = Openness::new(&layer, camera, reach);
        Self {
            camera,
            solid,
            corners,
            layer,
            open,
        }
    }

    pub fn at(&self, column: usize, row: usize) -> Option<At> {
        let seen = self.layer.at(column, row)?;
        let place = [column, row].map(|v| (v as f32 + 0.5) / SAMPLES as f32);
        let [a, b, c] =
            self.solid.triangles[seen.triangle as usize].map(|v| self.corners[v as usize]);
        let area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        let v = ((c[0] - a[0]) * (a[1] - place[1]) - (c[1] - a[1]) * (a[0] - place[0])) / area;
        let w = ((b[0] - a[0]) * (place[1] - a[1]) - (b[1] - a[1]) * (place[0] - a[0])) / area;
        let weights = if area == 0.0 {
            [1.0, 0.0, 0.0]
        } else {
            [1.0 - v - w, v, w].map(|x| x.clamp(0.0, 1.0))
        };
        // y runs down in the picture, so the outer side winds clockwise.
        Some(At {
            triangle: seen.triangle,
            weights,
            depth: seen.depth,
            place,
            front: area < 0.0,
        })
    }

    /// Tint under the lights; `facets` from 0 to 1 lets the flat triangle's normal show.
    fn shaded(&self, at: &At, tint: Rgb, facets: f32) -> Rgb {
        let corners = self.solid.triangles[at.triangle as usize];
        let smooth = (0..3)
            .map(|i| self.solid.normals[corners[i] as usize] * at.weights[i])
            .sum::<Vec3>()
            .normalize_or_zero();
        let normal = if facets > 0.0 {
            let [a, b, c] = corners.map(|v| self.solid.positions[v as usize]);
            smooth.lerp((b - a).cross(c - a).normalize_or_zero(), facets)
        } else {
            smooth
        };
        let s = SAMPLES as f32;
        let pixel = at.place.map(|v| (v * s) as usize / SAMPLES as usize);
        lit(
            tint,
            self.camera.turn(normal.as_dvec3()),
            self.open.at(pixel[0], pixel[1]),
        )
    }

    /// Something of one tint at a sample, darker where its inner side is seen.
    pub fn tinted(&self, at: &At, tint: Rgb) -> Rgb {
        let tint = if at.front { tint } else { scaled(tint, 0.62) };
        self.shaded(at, tint, 0.0)
    }

    /// The sculpt at a sample.
    pub fn stone(&self, at: &At) -> Rgb {
        self.tinted(at, stone())
    }
}

/// What the quads are tinted by.
#[derive(Clone, Copy)]
pub(crate) enum Look<'a> {
    /// One tint.
    Plain,
    /// Distance to the sculpt.
    Distance(&'a Fidelity),
    /// Patches: patch of each quad and tint of each patch.
    Patches(&'a Patches),
}

/// Patches with tints, so that neighbours differ.
pub(crate) struct Patches {
    of_quad: Vec<u32>,
    tint_of_quad: Vec<Rgb>,
}

impl Patches {
    /// `of_quad` has one entry a quad.
    pub fn new(surface: &Surface, of_quad: &[u32]) -> Self {
        let mut neighbours = std::collections::BTreeMap::<u32, Vec<u32>>::new();
        for (quad, &patch) in of_quad.iter().enumerate() {
            let list = neighbours.entry(patch).or_default();
            for other in surface.beyond[quad].into_iter().flatten() {
                let other = of_quad[other as usize];
                if other != patch && !list.contains(&other) {
                    list.push(other);
                }
            }
        }
        let mut tints = std::collections::BTreeMap::<u32, usize>::new();
        let mut uses = [0usize; PATCH_TINTS];
        for (&patch, others) in &neighbours {
            let taken: Vec<usize> = others
                .iter()
                .filter_map(|p| tints.get(p).copied())
                .collect();
            let free = (0..PATCH_TINTS).filter(|t| !taken.contains(t));
            let tint = free.min_by_key(|&t| uses[t]).unwrap_or(0);
            uses[tint] += 1;
            tints.insert(patch, tint);
        }
        Self {
            of_quad: of_quad.to_vec(),
            tint_of_quad: of_quad
                .iter()
                .map(|p| patch_tint(tints.get(p).copied().unwrap_or(0)))
                .collect(),
        }
    }

    /// Tint of a quad.
    pub fn tint(&self, quad: usize) -> Rgb {
        self.tint_of_quad[quad]
    }

    pub fn count(&self) -> usize {
        let mut sorted = self.of_quad.clone();
        sorted.sort_unstable();
        sorted.dedup();
        sorted.len()
    }
}

/// The surface in one picture.
pub(crate) struct Quads<'a> {
    pub surface: &'a Surface<'a>,
    pub drawn: Drawn<'a>,
    /// Half the width of an edge, pixels.
    pub line: f32,
}

impl<'a> Quads<'a> {
    pub fn new(surface: &'a Surface<'a>, camera: &'a Camera, reach: f32) -> Self {
        let drawn = Drawn::new(&surface.solid, camera, reach);
        let edge_px = (surface.mean_edge * camera.scale) as f32;
        Self {
            surface,
            drawn,
            line: (0.03 * edge_px).clamp(0.32, 1.1),
        }
    }

    /// Colour of the sample, edges and all.
    pub fn colour(&self, at: &At, look: Look) -> Rgb {
        let quad = at.triangle as usize / 2;
        let tint = match look {
            _ if !at.front => self.lining(at),
            Look::Plain => porcelain(),
            Look::Distance(fidelity) => {
                let away = fidelity.at(quad, self.uv(at)) / fidelity.end as f32;
                // Paler and half lit, so that shade isn't read as distance.
                let tint = distance_scale(away);
                let shaded = self.drawn.shaded(at, tint, 0.0);
                let ink = if away > 0.55 { srgb(0xf6_ede4) } else { ink() };
                return mix(
                    mix(scaled(tint, 0.9), shaded, 0.45),
                    ink,
                    0.55 * self.edges(at, |_| false),
                );
            }
            Look::Patches(patches) => patches.tint_of_quad[quad],
        };
        let border = |side: usize| match (look, self.surface.beyond[quad][side]) {
            (Look::Patches(p), Some(other)) => p.of_quad[other as usize] != p.of_quad[quad],
            _ => false,
        };
        mix(
            self.drawn.shaded(at, tint, 0.35),
            ink(),
            self.edges(at, border),
        )
    }

    /// Whether the inner side is seen anywhere.
    pub fn shows_lining(&self) -> bool {
        let camera = self.drawn.camera;
        let (columns, rows) = (
            (camera.width * SAMPLES) as usize,
            (camera.height * SAMPLES) as usize,
        );
        (0..columns * rows).any(|i| {
            self.drawn
                .at(i % columns, i / columns)
                .is_some_and(|at| !at.front)
        })
    }

    fn lining(&self, at: &At) -> Rgb {
        let stripe = (at.place[0] + at.place[1]).rem_euclid(9.0) < 3.5;
        scaled(lining(), if stripe { 0.55 } else { 1.0 })
    }

    /// Place in the quad, as [`Surface::point_at`] takes it.
    fn uv(&self, at: &At) -> [f32; 2] {
        let mut uv = [0.0; 2];
        for (corner, weight) in self
            .surface
            .corners_of(at.triangle)
            .into_iter()
            .zip(at.weights)
        {
            let [u, v] = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]][corner];
            uv[0] += weight * u;
            uv[1] += weight * v;
        }
        uv
    }

    /// How much of the sample is edge, 0 to 1; edges where the surface ends, and those that
    /// `heavy` names, are drawn wider.
    pub fn edges(&self, at: &At, heavy: impl Fn(usize) -> bool) -> f32 {
        let quad = at.triangle as usize / 2;
        let corners = self.surface.mesh.quads[quad].map(|v| self.drawn.corners[v as usize]);
        let soft = 0.35;
        let wide = 2.4 * self.line + 0.3;
        let mut cover = 0.0_f32;
        for side in 0..4 {
            let [a, b] = [corners[side], corners[(side + 1) % 4]];
            let t = along(at.place, a, b);
            let off = [0, 1].map(|i| at.place[i] - a[i] - t * (b[i] - a[i]));
            let off = off[0] * off[0] + off[1] * off[1];
            if off > (wide + soft) * (wide + soft) {
                continue;
            }
            let (radius, fade) = if self.surface.on_boundary[quad][side] || heavy(side) {
                (wide, 1.0)
            } else {
                (self.line, self.fade(&corners))
            };
            cover = cover.max(fade * ((radius + soft - off.sqrt()) / (2.0 * soft)).clamp(0.0, 1.0));
        }
        cover
    }

    /// Less than 1 where a quad is seen so slantwise that its edges would run together.
    fn fade(&self, corners: &[[f32; 3]; 4]) -> f32 {
        let [p, q] = [[0, 2], [1, 3]]
            .map(|[i, j]| [corners[j][0] - corners[i][0], corners[j][1] - corners[i][1]]);
        let area = (p[0] * q[1] - p[1] * q[0]).abs() / 2.0;
        let longest = (p[0] * p[0] + p[1] * p[1])
            .max(q[0] * q[0] + q[1] * q[1])
            .sqrt()
            .max(1e-6);
        (area / longest / (7.0 * self.line)).clamp(0.25, 1.0)
    }
}
