//! What the view shows, slot by slot, and the pass that draws it.

use std::collections::BTreeMap;

use bytemuck::{Pod, Zeroable};
use glam::{DVec2, DVec3};
use wgpu::{BindGroup, Buffer, BufferUsages, Device, Queue};

use crate::camera::Projection;
use crate::geometry::{self, Vertex};
use crate::item::{Hatch, Item, Look, Slot, View};
use crate::pipelines::{COLOUR, DEPTH, Pipelines};

/// Opacity of hidden parts over that of seen ones.
const DIM: f32 = 0.22;
/// Most bytes of a buffer, where the device would take larger ones: what each device takes.
const MOST_BYTES: u64 = 256 << 20;

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
    over: [f32; 4],
    hatch: [f32; 4],
}

/// What is in a slot, on the device.
enum Buffers {
    Mesh { parts: Vec<Part>, coloured: bool },
    Lines(Vec<Instances>),
    Marks(Vec<Instances>),
}

struct Part {
    vertices: Buffer,
    indices: Buffer,
    count: u32,
}

struct Instances {
    buffer: Buffer,
    count: u32,
}

struct Placed {
    buffers: Option<Buffers>,
    /// What lines and marks were made of: the same again changes nothing.
    made_of: Vec<u8>,
    look: Look,
    /// Of seen and of hidden parts.
    numbers: [(Buffer, BindGroup); 2],
}

struct Target {
    colour: wgpu::Texture,
    view: wgpu::TextureView,
    depth: Depth,
    /// With the nearest layer of one ghost in it.
    ghost_depth: Depth,
}

struct Depth {
    texture: wgpu::Texture,
    view: wgpu::TextureView,
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
    left_out: Vec<Slot>,
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
            left_out: Vec::new(),
            dirty: true,
            drawn: 0,
        }
    }

    /// Puts something into a slot, in place of what was there; its look stays. The same lines or marks
    /// again change nothing. What the device has no memory for is left out: see [`Scene::left_out`].
    pub fn set(&mut self, slot: Slot, item: &Item<'_>) {
        let made_of: &[u8] = match item {
            Item::Mesh { .. } | Item::Quads { .. } => &[],
            Item::Lines(pieces) => bytemuck::cast_slice(pieces),
            Item::Marks(marks) => bytemuck::cast_slice(marks),
        };
        if let Some(placed) = self.placed.get(&slot) {
            let same = match (&placed.buffers, item) {
                (Some(Buffers::Lines(_)), Item::Lines(_))
                | (Some(Buffers::Marks(_)), Item::Marks(_)) => placed.made_of == made_of,
                (None, Item::Lines([]) | Item::Marks([])) => true,
                _ => false,
            };
            if same {
                return;
            }
        }
        let guard = self.device.push_error_scope(wgpu::ErrorFilter::OutOfMemory);
        let buffers = self.buffers(item);
        let fits = pollster::block_on(guard.pop()).is_none();
        let made_of = made_of.to_vec();
        let placed = self.slot(slot);
        placed.buffers = buffers.filter(|_| fits);
        placed.made_of = made_of;
        self.left_out.retain(|&other| other != slot);
        if !fits {
            self.left_out.push(slot);
        }
        self.dirty = true;
    }

    /// Slots for whose contents the device had no memory: they aren't drawn.
    pub fn left_out(&self) -> &[Slot] {
        &self.left_out
    }

    /// Empties a slot; its look stays.
    pub fn clear(&mut self, slot: Slot) {
        self.left_out.retain(|&other| other != slot);
        if let Some(placed) = self.placed.get_mut(&slot)
            && placed.buffers.take().is_some()
        {
            placed.made_of = Vec::new();
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
                made_of: Vec::new(),
                look: Look::default(),
                numbers: [numbers(), numbers()],
            }
        })
    }

    fn buffers(&self, item: &Item<'_>) -> Option<Buffers> {
        match item {
            Item::Mesh {
                positions,
                normals,
                triangles,
            } => {
                let computed;
                let normals = if normals.len() == positions.len() {
                    normals
                } else {
                    computed = geometry::normals(positions, triangles);
                    &computed[..]
                };
                let vertices: Vec<Vertex> = positions
                    .iter()
                    .zip(normals)
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
                let (vertices, triangles) = geometry::flat(positions, quads, colours);
                self.mesh(&vertices, &triangles, true)
            }
            Item::Lines([]) | Item::Marks([]) => None,
            Item::Lines(pieces) => {
                let joined = geometry::joined(pieces);
                Some(Buffers::Lines(self.instances(&joined)))
            }
            Item::Marks(marks) => Some(Buffers::Marks(self.instances(marks))),
        }
    }

    fn buffer<T: Pod>(&self, contents: &[T], usage: BufferUsages) -> Buffer {
        let bytes: &[u8] = bytemuck::cast_slice(contents);
        let buffer = self.device.create_buffer(&wgpu::BufferDescriptor {
            label: Some("slot"),
            size: bytes.len() as u64,
            usage: usage | BufferUsages::COPY_DST,
            mapped_at_creation: false,
        });
        self.queue.write_buffer(&buffer, 0, bytes);
        buffer
    }

    /// Most bytes that a buffer has.
    fn most_bytes(&self) -> usize {
        self.device.limits().max_buffer_size.min(MOST_BYTES) as usize
    }

    fn mesh(&self, vertices: &[Vertex], triangles: &[[u32; 3]], coloured: bool) -> Option<Buffers> {
        let part = |(vertices, triangles): geometry::Part<'_>| Part {
            vertices: self.buffer(&vertices, BufferUsages::VERTEX),
            indices: self.buffer(&triangles, BufferUsages::INDEX),
            count: 3 * triangles.len() as u32,
        };
        let parts: Vec<Part> = geometry::parts(vertices, triangles, self.most_bytes())
            .into_iter()
            .map(part)
            .collect();
        (!parts.is_empty()).then_some(Buffers::Mesh { parts, coloured })
    }

    fn instances<T: Pod>(&self, all: &[T]) -> Vec<Instances> {
        all.chunks((self.most_bytes() / size_of::<T>()).max(1))
            .map(|some| Instances {
                buffer: self.buffer(some, BufferUsages::VERTEX),
                count: some.len() as u32,
            })
            .collect()
    }

    /// Draws the scene, if anything changed since it was drawn last; answers whether it did.
    pub fn render(&mut self, view: &View) -> bool {
        if !self.dirty && self.seen == Some(*view) {
            return false;
        }
        let most = self.device.limits().max_texture_dimension_2d;
        let size = view.size.map(|s| s.clamp(1, most));
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
        let ghosts: Vec<(&Placed, &[Part])> = self
            .meshes()
            .filter(|(placed, _)| placed.look.opacity < 1.0)
            .collect();
        {
            let mut pass = begin(&mut encoder, target, &target.depth, First::Yes);
            self.solids(&mut pass);
            if ghosts.is_empty() {
                self.lines_and_marks(&mut pass);
            }
        }
        for (placed, parts) in &ghosts {
            // Each ghost is hidden by what is solid and by its own nearest layer, not by other ghosts.
            let [from, to] = [&target.depth, &target.ghost_depth].map(|d| &d.texture);
            encoder.copy_texture_to_texture(from.as_image_copy(), to.as_image_copy(), to.size());
            let mut pass = begin(&mut encoder, target, &target.ghost_depth, First::No);
            pass.set_bind_group(0, &self.globals.1, &[]);
            self.faces(&mut pass, &self.pipelines.ghost_depth, placed, parts);
            self.faces(&mut pass, &self.pipelines.ghost, placed, parts);
        }
        if !ghosts.is_empty() {
            let mut pass = begin(&mut encoder, target, &target.depth, First::No);
            self.lines_and_marks(&mut pass);
        }
        self.queue.submit([encoder.finish()]);
        self.seen = Some(*view);
        self.dirty = false;
        self.drawn += 1;
        true
    }

    fn shown(&self) -> impl Iterator<Item = (&Placed, &Buffers)> {
        self.placed
            .values()
            .filter(|p| p.look.shown && p.look.opacity > 0.0)
            .filter_map(|p| Some((p, p.buffers.as_ref()?)))
    }

    fn meshes(&self) -> impl Iterator<Item = (&Placed, &[Part])> {
        self.shown().filter_map(|(placed, buffers)| match buffers {
            Buffers::Mesh { parts, .. } => Some((placed, &parts[..])),
            Buffers::Lines(_) | Buffers::Marks(_) => None,
        })
    }

    fn solids(&self, pass: &mut wgpu::RenderPass<'_>) {
        pass.set_bind_group(0, &self.globals.1, &[]);
        pass.set_bind_group(1, &self.ground.1, &[]);
        pass.set_pipeline(&self.pipelines.ground);
        pass.draw(0..3, 0..1);
        for (placed, parts) in self.meshes() {
            if placed.look.opacity >= 1.0 {
                self.faces(pass, &self.pipelines.solid, placed, parts);
            }
        }
    }

    fn faces(
        &self,
        pass: &mut wgpu::RenderPass<'_>,
        pipeline: &wgpu::RenderPipeline,
        placed: &Placed,
        parts: &[Part],
    ) {
        pass.set_pipeline(pipeline);
        pass.set_bind_group(1, &placed.numbers[0].1, &[]);
        for part in parts {
            pass.set_vertex_buffer(0, part.vertices.slice(..));
            pass.set_index_buffer(part.indices.slice(..), wgpu::IndexFormat::Uint32);
            pass.draw_indexed(0..part.count, 0, 0..1);
        }
    }

    fn lines_and_marks(&self, pass: &mut wgpu::RenderPass<'_>) {
        pass.set_bind_group(0, &self.globals.1, &[]);
        for (placed, buffers) in self.shown() {
            let pipelines = &self.pipelines;
            let (instances, seen, hidden) = match buffers {
                Buffers::Mesh { .. } => continue,
                Buffers::Lines(all) => (all, &pipelines.lines, &pipelines.hidden_lines),
                Buffers::Marks(all) => (all, &pipelines.marks, &pipelines.hidden_marks),
            };
            for some in instances {
                pass.set_vertex_buffer(0, some.buffer.slice(..));
                if placed.look.hidden {
                    pass.set_pipeline(hidden);
                    pass.set_bind_group(1, &placed.numbers[1].1, &[]);
                    pass.draw(0..6, 0..some.count);
                }
                pass.set_pipeline(seen);
                pass.set_bind_group(1, &placed.numbers[0].1, &[]);
                pass.draw(0..6, 0..some.count);
            }
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
        let view =
            |texture: &wgpu::Texture| texture.create_view(&wgpu::TextureViewDescriptor::default());
        let depth = |usage| {
            let texture = texture(DEPTH, wgpu::TextureUsages::RENDER_ATTACHMENT | usage);
            let view = view(&texture);
            Depth { texture, view }
        };
        Target {
            view: view(&colour),
            depth: depth(wgpu::TextureUsages::COPY_SRC),
            ghost_depth: depth(wgpu::TextureUsages::COPY_DST),
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
        let unit_per_pixel = camera.units_per_pixel(pixels.y);
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
            right: camera.right().as_vec3().extend(view.scale).to_array(),
            up: direction(camera.up()),
            size: [
                size[0] as f32,
                size[1] as f32,
                (unit_per_pixel / camera.distance) as f32,
                unit_per_pixel as f32,
            ],
        };
        self.queue
            .write_buffer(&self.globals.0, 0, bytemuck::bytes_of(&globals));
        let ground = Numbers {
            colour: unit(view.ground[0]),
            inside: unit(view.ground[1]),
            numbers: [0.0; 4],
            over: [0.0; 4],
            hatch: [0.0; 4],
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
                        look.width * view.scale,
                        if coloured { 1.0 } else { 0.0 },
                        look.dash.max(0.0) * view.scale,
                    ],
                    over: [look.over, 0.0, 0.0, 0.0],
                    hatch: look
                        .hatch
                        .map_or([0.0; 4], |hatch| strokes(hatch, view.scale)),
                };
                self.queue
                    .write_buffer(buffer, 0, bytemuck::bytes_of(&numbers));
            }
        }
    }
}

/// Whether a pass begins the picture or goes on with it.
#[derive(PartialEq)]
enum First {
    Yes,
    No,
}

fn begin<'a>(
    encoder: &'a mut wgpu::CommandEncoder,
    target: &Target,
    depth: &Depth,
    first: First,
) -> wgpu::RenderPass<'a> {
    let first = first == First::Yes;
    encoder.begin_render_pass(&wgpu::RenderPassDescriptor {
        label: Some("view"),
        color_attachments: &[Some(wgpu::RenderPassColorAttachment {
            view: &target.view,
            depth_slice: None,
            resolve_target: None,
            ops: wgpu::Operations {
                load: if first {
                    wgpu::LoadOp::Clear(wgpu::Color::BLACK)
                } else {
                    wgpu::LoadOp::Load
                },
                store: wgpu::StoreOp::Store,
            },
        })],
        depth_stencil_attachment: Some(wgpu::RenderPassDepthStencilAttachment {
            view: &depth.view,
            depth_ops: Some(wgpu::Operations {
                load: if first {
                    wgpu::LoadOp::Clear(0.0)
                } else {
                    wgpu::LoadOp::Load
                },
                store: wgpu::StoreOp::Store,
            }),
            stencil_ops: None,
        }),
        ..wgpu::RenderPassDescriptor::default()
    })
}

/// Strokes as the pass takes them: rows of the picture count downwards.
fn strokes(hatch: Hatch, scale: f32) -> [f32; 4] {
    let apart = (hatch.apart * scale).max(1.0);
    let (sin, cos) = hatch.degrees.to_radians().sin_cos();
    let share = (hatch.width * scale / apart).clamp(0.0, 1.0);
    [sin / apart, cos / apart, share, hatch.shade]
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
