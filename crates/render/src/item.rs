//! What a scene is made of, as plain data.

use bytemuck::{Pod, Zeroable};
use glam::DVec3;

use crate::camera::Camera;

/// A place for one thing in the scene; slots are drawn in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Slot(pub u32);

/// How a slot looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Whether it is drawn at all.
    pub shown: bool,
    /// 1 solid; of less, the nearest layer alone is drawn and lets through what is behind.
    pub opacity: f32,
    /// Faces seen from outside; outlines of marks.
    pub colour: [u8; 4],
    /// Faces seen from inside.
    pub inside: [u8; 4],
    /// Width of lines, pixels.
    pub width: f32,
    /// Length of a dash and the gap after it, pixels at the target's depth; 0 for lines without gaps.
    pub dash: f32,
    /// Whether lines and marks behind something show faintly, or not at all.
    pub hidden: bool,
    /// How much nearer to the eye than it lies it counts, model units: what follows a sculpt closely, now
    /// over it and now under it, can be drawn over it whole.
    pub over: f32,
    /// Strokes over faces seen from outside, which tell meshes apart without colour.
    pub hatch: Option<Hatch>,
}

/// Strokes drawn over a mesh, straight in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hatch {
    /// Their direction, degrees anticlockwise from across the picture.
    pub degrees: f32,
    /// From the middle of one to the next, pixels.
    pub apart: f32,
    /// Width of each, pixels.
    pub width: f32,
    /// How bright they are: share of the face's own brightness.
    pub shade: f32,
}

impl Default for Look {
    fn default() -> Self {
        Self {
            shown: true,
            opacity: 1.0,
            colour: [200, 200, 200, 255],
            inside: [120, 100, 105, 255],
            width: 1.5,
            dash: 0.0,
            hidden: false,
            over: 0.0,
            hatch: None,
        }
    }
}

/// A straight piece of a line. Pieces that follow each other, one beginning to the bit where the one
/// before it ends, are drawn as one line with joints; it closes where it comes back to its beginning.
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
    /// A regular triangle, one corner on top.
    Triangle = 4,
    /// A regular pentagon, one corner on top.
    Pentagon = 5,
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
    /// A mark of a size across (of the circle around it), pixels.
    pub fn new(at: [f32; 3], pixels: f32, colour: [u8; 4], shape: Shape) -> Self {
        Self {
            at,
            pixels,
            colour,
            shape: shape as u32,
        }
    }
}

/// What is in a slot. Triangles and quads with a corner that isn't there are left out.
pub enum Item<'a> {
    /// Triangles with a normal at each vertex.
    Mesh {
        /// Model units.
        positions: &'a [[f32; 3]],
        /// Unit; as many as positions. Otherwise they are computed, weighted by area.
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

/// How the scene is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// The eye.
    pub camera: Camera,
    /// Width and height, pixels of the device.
    pub size: [u32; 2],
    /// Pixels of the device to one of the pixels in which widths and sizes are given.
    pub scale: f32,
    /// Upper and lower colour of the ground.
    pub ground: [[u8; 4]; 2],
    /// Middle of a ball that holds everything.
    pub centre: DVec3,
    /// Its radius, model units.
    pub radius: f64,
}
