//! What is drawn, pixel by pixel, on whatever device there is.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use glam::{DVec2, DVec3};
use loopwright_render::{
    Camera, Fixed, Item, Look, Mark, Offscreen, Piece, Projection, Shape, Slot, View,
};

const SIZE: [u32; 2] = [200, 150];
const GROUND: [u8; 4] = [10, 20, 30, 255];
const RED: [u8; 4] = [255, 0, 0, 255];
const BLUE: [u8; 4] = [0, 0, 255, 255];

fn view() -> View {
    let mut camera = Camera {
        projection: Projection::Parallel,
        ..Camera::default()
    };
    camera.look_from(Fixed::Front);
    camera.frame(DVec3::splat(-1.0), DVec3::splat(1.0), size());
    View {
        camera,
        size: SIZE,
        ground: [GROUND; 2],
        centre: DVec3::ZERO,
        radius: 3.0,
    }
}

fn size() -> DVec2 {
    DVec2::new(f64::from(SIZE[0]), f64::from(SIZE[1]))
}

/// A square across z, of half a side.
fn square(half: f32, z: f32) -> [[f32; 3]; 4] {
    [
        [-half, -half, z],
        [half, -half, z],
        [half, half, z],
        [-half, half, z],
    ]
}

fn quads(out: &mut Offscreen, slot: u32, half: f32, z: f32, colour: [u8; 4]) {
    let item = Item::Quads {
        positions: &square(half, z),
        quads: &[[0, 1, 2, 3]],
        colours: &[colour],
    };
    out.scene.set(Slot(slot), &item);
}

/// The pixel at which a point is drawn.
fn pixel(picture: &[[u8; 4]], at: [f64; 3]) -> [u8; 4] {
    let (p, _) = view().camera.project(at.into(), size()).unwrap();
    picture[p.y as usize * SIZE[0] as usize + p.x as usize]
}

fn is_red(p: [u8; 4]) -> bool {
    p[0] > 120 && p[2] < 60
}

fn is_blue(p: [u8; 4]) -> bool {
    p[2] > 120 && p[0] < 60
}

#[test]
fn a_quad_covers_what_the_camera_says_and_nothing_else() {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.5, 0.0, RED);
    let picture = out.picture(&view()).unwrap();
    for (at, inside) in [(0.48, true), (0.53, false)] {
        for p in [
            [at, 0.0, 0.0],
            [-at, 0.3, 0.0],
            [0.1, at, 0.0],
            [0.2, -at, 0.0],
        ] {
            assert_eq!(is_red(pixel(&picture, p)), inside, "{p:?}");
        }
    }
    assert_eq!(picture[0], GROUND);
}

#[test]
fn what_is_nearer_hides_and_ghosts_let_through() {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.4, -0.5, BLUE);
    quads(&mut out, 1, 0.6, 0.5, RED);
    let picture = out.picture(&view()).unwrap();
    assert!(is_red(pixel(&picture, [0.0; 3])));
    out.scene.set_look(
        Slot(1),
        Look {
            opacity: 0.3,
            ..Look::default()
        },
    );
    let picture = out.picture(&view()).unwrap();
    let mixed = pixel(&picture, [0.0; 3]);
    assert!(mixed[2] > 80 && mixed[0] > 40, "{mixed:?}");
    out.scene.set_look(
        Slot(1),
        Look {
            shown: false,
            ..Look::default()
        },
    );
    let picture = out.picture(&view()).unwrap();
    assert!(is_blue(pixel(&picture, [0.0; 3])));
    assert_eq!(pixel(&picture, [0.5, 0.5, 0.0]), GROUND);
}

#[test]
fn hidden_lines_are_faint_or_not_there() {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.5, 0.0, RED);
    let behind = Piece {
        ends: [[-0.9, 0.0, -0.5], [0.9, 0.0, -0.5]],
        colour: BLUE,
    };
    out.scene.set(Slot(1), &Item::Lines(&[behind]));
    let mut look = Look {
        width: 5.0,
        ..Look::default()
    };
    out.scene.set_look(Slot(1), look);
    let picture = out.picture(&view()).unwrap();
    assert!(is_blue(pixel(&picture, [0.8, 0.0, 0.0])));
    assert!(is_red(pixel(&picture, [0.0; 3])));
    let plain = pixel(&picture, [0.0; 3]);
    look.hidden = true;
    out.scene.set_look(Slot(1), look);
    let picture = out.picture(&view()).unwrap();
    let dim = pixel(&picture, [0.0; 3]);
    assert!(
        dim[2] > plain[2] + 25 && dim[0] > dim[2],
        "{plain:?} {dim:?}"
    );
}

#[test]
fn lines_and_marks_lie_on_faces_without_fighting() {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.9, 0.0, RED);
    let on = Piece {
        ends: [[-0.7, 0.2, 0.0], [0.7, -0.2, 0.0]],
        colour: BLUE,
    };
    out.scene.set(Slot(1), &Item::Lines(&[on]));
    out.scene.set_look(
        Slot(1),
        Look {
            width: 4.0,
            ..Look::default()
        },
    );
    let mark = Mark::new([0.0, 0.5, 0.0], 16.0, BLUE, Shape::Disc);
    out.scene.set(Slot(2), &Item::Marks(&[mark]));
    for projection in [Projection::Parallel, Projection::Perspective] {
        let mut view = view();
        view.camera.projection = projection;
        view.camera.turn(0.6, 0.3);
        let picture = out.picture(&view).unwrap();
        let at = |p: [f64; 3]| {
            let (p, _) = view.camera.project(p.into(), size()).unwrap();
            picture[p.y as usize * SIZE[0] as usize + p.x as usize]
        };
        for i in -10..=10 {
            let x = 0.06 * f64::from(i);
            assert!(is_blue(at([x, -x * 0.2 / 0.7, 0.0])), "{x} {projection:?}");
        }
        assert!(is_blue(at([0.0, 0.5, 0.0])));
        assert!(is_red(at([0.0, -0.5, 0.0])));
    }
}

#[test]
fn nothing_is_drawn_again_while_nothing_changes() {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.5, 0.0, RED);
    assert!(out.scene.render(&view()));
    assert!(!out.scene.render(&view()));
    out.scene.set_look(Slot(0), Look::default());
    assert!(!out.scene.render(&view()));
    out.scene.set_look(
        Slot(0),
        Look {
            opacity: 0.5,
            ..Look::default()
        },
    );
    assert!(out.scene.render(&view()));
    let mut turned = view();
    turned.camera.turn(0.1, 0.0);
    assert!(out.scene.render(&turned));
    assert_eq!(out.scene.drawn(), 3);
}

#[test]
fn faces_seen_from_inside_have_their_own_colour() {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.5, 0.0, RED);
    let look = Look {
        inside: BLUE,
        ..Look::default()
    };
    out.scene.set_look(Slot(0), look);
    let mut back = view();
    back.camera.look_from(Fixed::Back);
    let picture = out.picture(&back).unwrap();
    assert!(is_blue(picture[75 * SIZE[0] as usize + 100]));
}
