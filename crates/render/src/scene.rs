//! What the view shows, slot by slot, and the pass that draws it.

use std::collections::BTreeMap;

use bytemuck::{Pod, Zeroable};
use glam::{DVec2, DVec3};
use wgpu::util::{BufferInitDescriptor, DeviceExt as _};
use wgpu::{BindGroup, Buffer, BufferUsages, Device, Queue};

use crate::camera::{Camera, Projection};
use crate::pipelines::{COLOUR, DEPTH, Pipelines};

/// Pixels by which lines and marks are lifted towards the eye off what they lie on: about half a line's
/// width, so that they aren't cut off where a face is seen at a slant.
const LIFT: f64 = 2.5;
/// Opacity of hidden parts over that of seen ones.
const DIM: f32 = 0.22;
/// Indices of one draw: a multiple of three.
const MOST_INDICES: u32 = 3 << 24;

/// A place for one thing in the scene; slots are drawn in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Slot(pub u32);

/// How a slot looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Whether it is drawn at all.
    pub shown: bool,
    /// 1 solid; less lets through what is behind.
    pub opacity: f32,
    /// Faces seen from outside; outlines of marks.
    pub colour: [u8; 4],
    /// Faces seen from inside.
    pub inside: [u8; 4],
    /// Width of lines, pixels.
    pub width: f32,
    /// Whether lines and marks behind something show faintly, or not at all.
    pub hidden: bool,
}

impl Default for Look {
    fn default() -> Self {
        Self {
            shown: true,
            opacity: 1.0,
            colour: [200, 200, 200, 255],
            inside: [120, 100, 105, 255],
            width: 1.5,
            hidden: false,
        }
    }
}

/// A straight piece of a line.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Pod, Zeroable)]
pub struct Piece {
    /// Both ends, model units.
    pub ends: [[f32; 3]; 2],
    /// Its colour.
    pub colour: [u8; 4],
}

/// A mark's shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u32)]
pub enum Shape {
    /// A disc.
    Disc = 0,
    /// A square.
    Square = 1,
    /// A square on its tip.
    Tip = 2,
    /// A ring.
    Ring = 3,
}

/// A mark at a place.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Pod, Zeroable)]
pub struct Mark {
    at: [f32; 3],
    pixels: f32,
    colour: [u8; 4],
    shape: u32,
}

impl Mark {
    /// A mark of a size across, pixels.
    pub fn new(at: [f32; 3], pixels: f32, colour: [u8; 4], shape: Shape) -> Self {
        Self {
            at,
            pixels,
            colour,
            shape: shape as u32,
        }
    }
}

/// What is in a slot.
pub enum Item<'a> {
    /// Triangles with a normal at each vertex.
    Mesh {
        /// Model units.
        positions: &'a [[f32; 3]],
        /// Unit; as many.
        normals: &'a [[f32; 3]],
        /// Indices into `positions`.
        triangles: &'a [[u32; 3]],
    },
    /// Quads, each shaded flat in a colour of its own.
    Quads {
        /// Model units.
        positions: &'a [[f32; 3]],
        /// Indices into `positions`.
        quads: &'a [[u32; 4]],
        /// One a quad.
        colours: &'a [[u8; 4]],
    },
    /// Lines.
    Lines(&'a [Piece]),
    /// Marks.
    Marks(&'a [Mark]),
}

#[repr(C)]
#[derive(Clone, Copy, Pod, Zeroable)]
struct Vertex {
    at: [f32; 3],
    normal: [f32; 3],
    colour: [u8; 4],
}

#[repr(C)]
#[derive(Clone, Copy, PartialEq, Pod, Zeroable)]
struct Globals {
    clip_from_model: [[f32; 4]; 4],
    eye: [f32; 4],
    right: [f32; 4],
    up: [f32; 4],
    size: [f32; 4],
}

#[repr(C)]
#[derive(Clone, Copy, Pod, Zeroable)]
struct Numbers {
    colour: [f32; 4],
    inside: [f32; 4],
    numbers: [f32; 4],
}

enum Buffers {
    Mesh {
        vertices: Buffer,
        indices: Buffer,
        count: u32,
        coloured: bool,
    },
    Lines(Buffer, u32),
    Marks(Buffer, u32),
}

struct Placed {
    buffers: Option<Buffers>,
    look: Look,
    /// Of seen and of hidden parts.
    numbers: [(Buffer, BindGroup); 2],
}

/// How the scene is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// The eye.
    pub camera: Camera,
    /// Width and height, pixels.
    pub size: [u32; 2],
    /// Upper and lower colour of the ground.
    pub ground: [[u8; 4]; 2],
    /// Middle of a ball that holds everything.
    pub centre: DVec3,
    /// Its radius, model units.
    pub radius: f64,
}

struct Target {
    colour: wgpu::Texture,
    view: wgpu::TextureView,
    depth: wgpu::TextureView,
}

/// Everything that is shown.
pub struct Scene {
    device: Device,
    queue: Queue,
    pipelines: Pipelines,
    globals: (Buffer, BindGroup),
    ground: (Buffer, BindGroup),
    placed: BTreeMap<Slot, Placed>,
    target: Option<Target>,
    seen: Option<View>,
    dirty: bool,
    drawn: u64,
}

impl Scene {
    /// An empty scene on a device.
    pub fn new(device: Device, queue: Queue) -> Self {
        let pipelines = Pipelines::new(&device);
        let [of_globals, of_item] = &pipelines.layouts;
        let globals = uniform(&device, of_globals, size_of::<Globals>());
        let ground = uniform(&device, of_item, size_of::<Numbers>());
        Self {
            globals,
            ground,
            pipelines,
            device,
            queue,
            placed: BTreeMap::new(),
            target: None,
            seen: None,
            dirty: true,
            drawn: 0,
        }
    }

    /// Puts something into a slot, in place of what was there; its look stays.
    pub fn set(&mut self, slot: Slot, item: &Item<'_>) {
        let buffers = match item {
            Item::Mesh {
                positions,
                normals,
                triangles,
            } => {
                let vertices: Vec<Vertex> = positions
                    .iter()
                    .zip(*normals)
                    .map(|(&at, &normal)| Vertex {
                        at,
                        normal,
                        colour: [255; 4],
                    })
                    .collect();
                self.mesh(&vertices, triangles, false)
            }
            Item::Quads {
                positions,
                quads,
                colours,
            } => {
                let (vertices, triangles) = flat(positions, quads, colours);
                self.mesh(&vertices, &triangles, true)
            }
            Item::Lines(pieces) => {
                let buffer = self.buffer(bytemuck::cast_slice(pieces), BufferUsages::VERTEX);
                Some(buffer)
                    .filter(|_| !pieces.is_empty())
                    .map(|b| Buffers::Lines(b, pieces.len() as u32))
            }
            Item::Marks(marks) => {
                let buffer = self.buffer(bytemuck::cast_slice(marks), BufferUsages::VERTEX);
                Some(buffer)
                    .filter(|_| !marks.is_empty())
                    .map(|b| Buffers::Marks(b, marks.len() as u32))
            }
        };
        self.slot(slot).buffers = buffers;
        self.dirty = true;
    }

    /// Empties a slot; its look stays.
    pub fn clear(&mut self, slot: Slot) {
        if let Some(placed) = self.placed.get_mut(&slot)
            && placed.buffers.take().is_some()
        {
            self.dirty = true;
        }
    }

    /// Changes how a slot looks.
    pub fn set_look(&mut self, slot: Slot, look: Look) {
        let placed = self.slot(slot);
        if placed.look != look {
            placed.look = look;
            self.dirty = true;
        }
    }

    /// Pictures drawn so far.
    pub fn drawn(&self) -> u64 {
        self.drawn
    }

    /// The picture; `None` before the first.
    pub fn picture(&self) -> Option<&wgpu::TextureView> {
        self.target.as_ref().map(|target| &target.view)
    }

    pub(crate) fn texture(&self) -> Option<&wgpu::Texture> {
        self.target.as_ref().map(|target| &target.colour)
    }

    pub(crate) fn device(&self) -> (&Device, &Queue) {
        (&self.device, &self.queue)
    }

    fn slot(&mut self, slot: Slot) -> &mut Placed {
        let (device, layout) = (&self.device, &self.pipelines.layouts[1]);
        self.placed.entry(slot).or_insert_with(|| {
            let numbers = || uniform(device, layout, size_of::<Numbers>());
            Placed {
                buffers: None,
                look: Look::default(),
                numbers: [numbers(), numbers()],
            }
        })
    }

    fn buffer(&self, contents: &[u8], usage: BufferUsages) -> Buffer {
        self.device.create_buffer_init(&BufferInitDescriptor {
            label: Some("slot"),
            contents,
            usage,
        })
    }

    fn mesh(&self, vertices: &[Vertex], triangles: &[[u32; 3]], coloured: bool) -> Option<Buffers> {
        (!triangles.is_empty()).then(|| Buffers::Mesh {
            vertices: self.buffer(bytemuck::cast_slice(vertices), BufferUsages::VERTEX),
            indices: self.buffer(bytemuck::cast_slice(triangles), BufferUsages::INDEX),
            count: 3 * triangles.len() as u32,
            coloured,
        })
    }

    /// Draws the scene, if anything changed since it was drawn last; answers whether it did.
    pub fn render(&mut self, view: &View) -> bool {
        if !self.dirty && self.seen == Some(*view) {
            return false;
        }
        let size = view.size.map(|s| s.max(1));
        if self.seen.is_none_or(|seen| seen.size != view.size) || self.target.is_none() {
            self.target = Some(self.new_target(size));
        }
        self.write(view, size);
        let Some(target) = &self.target else {
            return false;
        };
        let mut encoder = self
            .device
            .create_command_encoder(&wgpu::CommandEncoderDescriptor {
                label: Some("view"),
            });
        {
            let mut pass = encoder.begin_render_pass(&wgpu::RenderPassDescriptor {
                label: Some("view"),
                color_attachments: &[Some(wgpu::RenderPassColorAttachment {
                    view: &target.view,
                    depth_slice: None,
                    resolve_target: None,
                    ops: wgpu::Operations {
                        load: wgpu::LoadOp::Clear(wgpu::Color::BLACK),
                        store: wgpu::StoreOp::Store,
                    },
                })],
                depth_stencil_attachment: Some(wgpu::RenderPassDepthStencilAttachment {
                    view: &target.depth,
                    depth_ops: Some(wgpu::Operations {
                        load: wgpu::LoadOp::Clear(1.0),
                        store: wgpu::StoreOp::Discard,
                    }),
                    stencil_ops: None,
                }),
                ..wgpu::RenderPassDescriptor::default()
            });
            self.draw(&mut pass);
        }
        self.queue.submit([encoder.finish()]);
        self.seen = Some(*view);
        self.dirty = false;
        self.drawn += 1;
        true
    }

    fn draw(&self, pass: &mut wgpu::RenderPass<'_>) {
        pass.set_bind_group(0, &self.globals.1, &[]);
        pass.set_bind_group(1, &self.ground.1, &[]);
        pass.set_pipeline(&self.pipelines.ground);
        pass.draw(0..3, 0..1);
        let shown = || {
            let all = self
                .placed
                .values()
                .filter(|p| p.look.shown && p.look.opacity > 0.0);
            all.filter_map(|p| Some((p, p.buffers.as_ref()?)))
        };
        // What is solid first: ghosts and lines are tested against it.
        for ghosts in [false, true] {
            for (placed, buffers) in shown() {
                if let Buffers::Mesh {
                    vertices,
                    indices,
                    count,
                    ..
                } = buffers
                    && ghosts == (placed.look.opacity < 1.0)
                {
                    pass.set_pipeline(if ghosts {
                        &self.pipelines.ghost
                    } else {
                        &self.pipelines.solid
                    });
                    pass.set_bind_group(1, &placed.numbers[0].1, &[]);
                    pass.set_vertex_buffer(0, vertices.slice(..));
                    pass.set_index_buffer(indices.slice(..), wgpu::IndexFormat::Uint32);
                    for first in (0..*count).step_by(MOST_INDICES as usize) {
                        pass.draw_indexed(first..(first + MOST_INDICES).min(*count), 0, 0..1);
                    }
                }
            }
        }
        for (placed, buffers) in shown() {
            let (buffer, count, seen, hidden) = match buffers {
                Buffers::Mesh { .. } => continue,
                Buffers::Lines(buffer, count) => (
                    buffer,
                    *count,
                    &self.pipelines.lines,
                    &self.pipelines.hidden_lines,
                ),
                Buffers::Marks(buffer, count) => (
                    buffer,
                    *count,
                    &self.pipelines.marks,
                    &self.pipelines.hidden_marks,
                ),
            };
            pass.set_vertex_buffer(0, buffer.slice(..));
            if placed.look.hidden {
                pass.set_pipeline(hidden);
                pass.set_bind_group(1, &placed.numbers[1].1, &[]);
                pass.draw(0..6, 0..count);
            }
            pass.set_pipeline(seen);
            pass.set_bind_group(1, &placed.numbers[0].1, &[]);
            pass.draw(0..6, 0..count);
        }
    }

    fn new_target(&self, [width, height]: [u32; 2]) -> Target {
        let texture = |format, usage| {
            self.device.create_texture(&wgpu::TextureDescriptor {
                label: Some("view"),
                size: wgpu::Extent3d {
                    width,
                    height,
                    depth_or_array_layers: 1,
                },
                mip_level_count: 1,
                sample_count: 1,
                dimension: wgpu::TextureDimension::D2,
                format,
                usage,
                view_formats: &[],
            })
        };
        let shown = wgpu::TextureUsages::RENDER_ATTACHMENT
            | wgpu::TextureUsages::TEXTURE_BINDING
            | wgpu::TextureUsages::COPY_SRC;
        let colour = texture(COLOUR, shown);
        let depth = texture(DEPTH, wgpu::TextureUsages::RENDER_ATTACHMENT);
        let of =
            |texture: &wgpu::Texture| texture.create_view(&wgpu::TextureViewDescriptor::default());
        Target {
            view: of(&colour),
            depth: of(&depth),
            colour,
        }
    }

    /// Brings the numbers on the device up to date.
    fn write(&self, view: &View, size: [u32; 2]) {
        let camera = &view.camera;
        let pixels = DVec2::new(f64::from(size[0]), f64::from(size[1]));
        let matrix = camera
            .clip_from_model(pixels, view.centre, view.radius)
            .as_mat4();
        let perspective = camera.projection == Projection::Perspective;
        let lift = LIFT * camera.units_per_pixel(pixels.y);
        let eye = if perspective {
            camera.eye()
        } else {
            -camera.forward()
        };
        let direction = |v: DVec3| v.as_vec3().extend(0.0).to_array();
        let globals = Globals {
            clip_from_model: matrix.to_cols_array_2d(),
            eye: eye
                .as_vec3()
                .extend(if perspective { 1.0 } else { 0.0 })
                .to_array(),
            right: direction(camera.right()),
            up: direction(camera.up()),
            size: [
                size[0] as f32,
                size[1] as f32,
                (lift / camera.distance) as f32,
                lift as f32,
            ],
        };
        self.queue
            .write_buffer(&self.globals.0, 0, bytemuck::bytes_of(&globals));
        let ground = Numbers {
            colour: unit(view.ground[0]),
            inside: unit(view.ground[1]),
            numbers: [0.0; 4],
        };
        self.queue
            .write_buffer(&self.ground.0, 0, bytemuck::bytes_of(&ground));
        for placed in self.placed.values() {
            let look = &placed.look;
            let coloured = matches!(placed.buffers, Some(Buffers::Mesh { coloured: true, .. }));
            for (share, (buffer, _)) in [1.0, DIM].into_iter().zip(&placed.numbers) {
                let numbers = Numbers {
                    colour: unit(look.colour),
                    inside: unit(look.inside),
                    numbers: [
                        look.opacity * share,
                        look.width,
                        if coloured { 1.0 } else { 0.0 },
                        0.0,
                    ],
                };
                self.queue
                    .write_buffer(buffer, 0, bytemuck::bytes_of(&numbers));
            }
        }
    }
}

fn unit(colour: [u8; 4]) -> [f32; 4] {
    colour.map(|v| f32::from(v) / 255.0)
}

fn uniform(device: &Device, layout: &wgpu::BindGroupLayout, bytes: usize) -> (Buffer, BindGroup) {
    let buffer = device.create_buffer(&wgpu::BufferDescriptor {
        label: Some("numbers"),
        size: bytes as u64,
        usage: BufferUsages::UNIFORM | BufferUsages::COPY_DST,
        mapped_at_creation: false,
    });
    let group = device.create_bind_group(&wgpu::BindGroupDescriptor {
        label: Some("numbers"),
        layout,
        entries: &[wgpu::BindGroupEntry {
            binding: 0,
            resource: buffer.as_entire_binding(),
        }],
    });
    (buffer, group)
}

/// Four vertices and two triangles a quad; quads with corners that aren't there are left out.
fn flat(
    positions: &[[f32; 3]],
    quads: &[[u32; 4]],
    colours: &[[u8; 4]],
) -> (Vec<Vertex>, Vec<[u32; 3]>) {
    let mut vertices = Vec::with_capacity(4 * quads.len());
    let mut triangles = Vec::with_capacity(2 * quads.len());
    let at = |v: u32| positions.get(v as usize).map(|p| glam::Vec3::from(*p));
    for (quad, colour) in quads.iter().zip(colours) {
        let [Some(a), Some(b), Some(c), Some(d)] = quad.map(at) else {
            continue;
        };
        let normal = (c - a).cross(d - b).normalize_or_zero().to_array();
        let first = vertices.len() as u32;
        vertices.extend([a, b, c, d].map(|p| Vertex {
            at: p.to_array(),
            normal,
            colour: *colour,
        }));
        triangles.extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
    }
    (vertices, triangles)
}
