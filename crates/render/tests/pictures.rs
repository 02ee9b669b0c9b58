//! What is drawn, pixel by pixel, on whatever device there is.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use glam::{DVec2, DVec3};
use loopwright_render::{
    Camera, Fixed, Hatch, Item, Look, Mark, Offscreen, Piece, Projection, RenderError, Shape, Slot,
    View,
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
        scale: 1.0,
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
fn a_hatch_has_its_direction_distance_and_width() {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.8, 0.0, RED);
    let hatched = |out: &mut Offscreen, degrees| {
        let hatch = Some(Hatch {
            degrees,
            apart: 10.0,
            width: 4.0,
            shade: 0.2,
        });
        let look = Look {
            hatch,
            ..Look::default()
        };
        out.scene.set_look(Slot(0), look);
        out.picture(&view()).unwrap()
    };
    // Rows and columns of 40 pixels about the middle, on the square: which pixels a stroke covers.
    let dark = |picture: &[[u8; 4]], x: usize, y: usize| {
        let red = picture[(55 + y) * SIZE[0] as usize + 80 + x][0];
        red < 120
    };
    for (degrees, along, across) in [(0.0, [1, 0], [0, 1]), (90.0, [0, 1], [1, 0])] {
        let picture = hatched(&mut out, degrees);
        let at = |i: usize, way: [usize; 2]| dark(&picture, i * way[0], i * way[1]);
        let covered = (0..40).filter(|&i| at(i, across)).count();
        assert_eq!(covered, 16, "{degrees}: four strokes of four pixels");
        let same = (0..40).all(|i| at(i, along) == at(0, along));
        assert!(same, "{degrees}: the strokes run along");
    }
    // Leaning to the right like a slash: a step to the right and one up stay in the stroke.
    let picture = hatched(&mut out, 45.0);
    let slash = (0..39).all(|i| dark(&picture, i, 39 - i) == dark(&picture, 0, 39));
    let other = (0..40).all(|i| dark(&picture, i, i) == dark(&picture, 0, 0));
    assert!(slash && !other);
}

#[test]
fn of_a_ghost_the_nearest_layer_alone_shows_and_hides_no_line() {
    let mut out = Offscreen::new().unwrap();
    let ghost = Look {
        opacity: 0.3,
        ..Look::default()
    };
    let sheets = |count: usize| -> Vec<[f32; 3]> {
        let at = |i: usize| square(0.5, 0.5 - 0.4 * i as f32);
        (0..count).flat_map(at).collect()
    };
    let mut pictures = Vec::new();
    for count in [1, 3] {
        // The sheet in the middle shows its back.
        let quads = [[0, 1, 2, 3], [7, 6, 5, 4], [8, 9, 10, 11]];
        let item = Item::Quads {
            positions: &sheets(count),
            quads: &quads[..count],
            colours: &[RED; 3],
        };
        out.scene.set(Slot(0), &item);
        out.scene.set_look(Slot(0), ghost);
        pictures.push(out.picture(&view()).unwrap());
    }
    assert!(pictures[0] == pictures[1]);
    // What is faint mixes with the ground, and a line behind it is as it would be without it.
    assert!(pixel(&pictures[0], [0.0; 3])[0] > GROUND[0] + 40);
    let look = Look {
        width: 5.0,
        ..Look::default()
    };
    line(
        &mut out,
        1,
        &[[-0.9, 0.0, -0.8], [0.9, 0.0, -0.8]],
        BLUE,
        look,
    );
    let picture = out.picture(&view()).unwrap();
    assert_eq!(pixel(&picture, [0.0; 3]), pixel(&picture, [0.8, 0.0, 0.0]));
}

#[test]
fn what_counts_as_nearer_covers_what_is_less_far_before_it() {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.7, 0.1, RED);
    quads(&mut out, 1, 0.5, 0.0, BLUE);
    for projection in [Projection::Parallel, Projection::Perspective] {
        for (over, blue) in [(0.0, false), (0.09, false), (0.11, true), (1e9, true)] {
            let look = Look {
                over,
                ..Look::default()
            };
            out.scene.set_look(Slot(1), look);
            let mut view = view();
            view.camera.projection = projection;
            let picture = out.picture(&view).unwrap();
            assert_eq!(is_blue(pixel(&picture, [0.0; 3])), blue, "{over}");
            // It is where it was.
            assert!(is_red(pixel(&picture, [0.55, 0.0, 0.0])), "{over}");
        }
    }
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
    // The same marks again, as a window may set them at each turn.
    let mark = [Mark::new([0.0; 3], 9.0, BLUE, Shape::Ring)];
    for marks in [&mark[..], &mark, &[], &[]] {
        out.scene.set(Slot(1), &Item::Marks(marks));
        out.scene.render(&turned);
    }
    assert_eq!(out.scene.drawn(), 5);
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

#[test]
fn a_closed_body_shows_its_inside_nowhere() {
    // A ball of few triangles with smooth normals: along its rim they point away from the eye.
    let [rings, around] = [7_u32, 12_u32];
    let at = |i: u32, j: u32| {
        let up = std::f32::consts::PI * i as f32 / rings as f32;
        let turn = std::f32::consts::TAU * (j % around) as f32 / around as f32;
        [up.sin() * turn.sin(), up.cos(), up.sin() * turn.cos()]
    };
    let positions: Vec<[f32; 3]> = (0..=rings)
        .flat_map(|i| (0..around).map(move |j| at(i, j)))
        .collect();
    let mut triangles = Vec::new();
    for i in 0..rings {
        for j in 0..around {
            let [a, b] = [i * around + j, i * around + (j + 1) % around];
            let [c, d] = [a + around, b + around];
            triangles.extend([[a, c, d], [a, d, b]]);
        }
    }
    let mut out = Offscreen::new().unwrap();
    let mesh = Item::Mesh {
        positions: &positions,
        normals: &positions,
        triangles: &triangles,
    };
    out.scene.set(Slot(0), &mesh);
    let look = Look {
        colour: RED,
        inside: BLUE,
        ..Look::default()
    };
    out.scene.set_look(Slot(0), look);
    for turned in [0.0, 0.1, 0.4] {
        let mut view = view();
        view.camera.turn(turned, 0.2);
        let picture = out.picture(&view).unwrap();
        assert!(painted(&picture) > 2000);
        // There is no blue but the ground's.
        assert!(picture.iter().all(|p| *p == GROUND || p[2] == 0));
    }
}

/// How many pixels aren't ground.
fn painted(picture: &[[u8; 4]]) -> usize {
    picture.iter().filter(|p| **p != GROUND).count()
}

fn line(out: &mut Offscreen, slot: u32, points: &[[f32; 3]], colour: [u8; 4], look: Look) {
    let pieces: Vec<Piece> = points
        .windows(2)
        .map(|p| Piece {
            ends: [p[0], p[1]],
            colour,
        })
        .collect();
    out.scene.set(Slot(slot), &Item::Lines(&pieces));
    out.scene.set_look(Slot(slot), look);
}

#[test]
fn a_line_that_runs_past_the_eye_is_cut_off_there() {
    let mut out = Offscreen::new().unwrap();
    let mut view = view();
    view.camera.projection = Projection::Perspective;
    let beyond = (view.camera.eye() * 3.0).as_vec3();
    view.radius = 2.0 * f64::from(beyond.length());
    // From the middle of the picture past the eye, a little below it: from the middle downwards.
    let ends = [[0.0, 0.0, 0.0], [0.0, -0.5, beyond.z]];
    let look = Look {
        width: 3.0,
        ..Look::default()
    };
    line(&mut out, 0, &ends, BLUE, look);
    let picture = out.picture(&view).unwrap();
    let [width, height] = SIZE.map(|s| s as usize);
    for y in 0..height {
        for x in 0..width {
            let on = (x as f64 + 0.5 - 100.0).abs() < 1.0 && y > 75;
            let near = (x as f64 + 0.5 - 100.0).abs() < 3.0 && y + 4 > 75;
            let p = picture[y * width + x];
            assert!(is_blue(p) || !on, "{x} {y} {p:?}");
            assert!(p == GROUND || near, "{x} {y} {p:?}");
        }
    }
}

#[test]
fn lines_at_the_near_end_of_the_scene_are_drawn() {
    let mut out = Offscreen::new().unwrap();
    // All of the scene is small in the picture: lifting would take lines out of the ball that holds it.
    let mut view = view();
    view.camera.distance *= 20.0;
    view.radius = 1.0;
    let look = Look {
        width: 4.0,
        ..Look::default()
    };
    line(
        &mut out,
        0,
        &[[-0.2, 0.0, 0.98], [0.2, 0.0, 0.98]],
        BLUE,
        look,
    );
    let mark = Mark::new([0.0, 0.2, 0.97], 12.0, RED, Shape::Disc);
    out.scene.set(Slot(1), &Item::Marks(&[mark]));
    let picture = out.picture(&view).unwrap();
    assert!(picture.iter().any(|p| is_red(*p)));
    out.scene.clear(Slot(1));
    assert!(out.picture(&view).unwrap().iter().any(|p| is_blue(*p)));
}

#[test]
fn a_faint_line_is_no_darker_at_its_joints() {
    let mut out = Offscreen::new().unwrap();
    let points = [
        [-0.8, -0.1, 0.0],
        [-0.4, 0.0, 0.0],
        [0.0, -0.1, 0.0],
        [0.4, 0.2, 0.0],
        [0.8, 0.3, 0.0],
    ];
    let look = Look {
        width: 9.0,
        opacity: 0.4,
        ..Look::default()
    };
    line(&mut out, 0, &points, [255, 255, 255, 255], look);
    let picture = out.picture(&view()).unwrap();
    // 0.4 of white over the ground, rounded either way.
    let most = GROUND.map(|g| (0.6 * f64::from(g) + 0.4 * 255.0).ceil() as u8);
    let brightest = picture.iter().map(|p| p[0]).max().unwrap();
    assert!(brightest <= most[0], "{brightest} {most:?}");
    for p in points {
        let at = pixel(&picture, p.map(f64::from));
        assert!(at[0] + 1 >= most[0] || p[0].abs() > 0.7, "{p:?} {at:?}");
    }
}

#[test]
fn dashes_run_on_over_joints_and_leave_gaps() {
    let mut out = Offscreen::new().unwrap();
    let view = view();
    let unit = view.camera.units_per_pixel(size().y) as f32;
    // 160 pixels in pieces of no whole number of dashes.
    let points: Vec<[f32; 3]> = (0..=25)
        .map(|i| [(-80.0 + 6.4 * i as f32) * unit, 0.0, 0.0])
        .collect();
    let look = Look {
        width: 4.0,
        dash: 10.0,
        ..Look::default()
    };
    line(&mut out, 0, &points, BLUE, look);
    let picture = out.picture(&view).unwrap();
    let row: Vec<bool> = (20..180)
        .map(|x| is_blue(picture[75 * SIZE[0] as usize + x]))
        .collect();
    for (x, blue) in row.iter().enumerate() {
        // Three fifths are dash; a pixel at either end is mixed.
        match x % 10 {
            1..=4 => assert!(blue, "{x}"),
            7 | 8 => assert!(!blue, "{x}"),
            _ => {}
        }
    }
}

/// Pixels that a mark covers on a face turned away from the eye by an angle, radians.
fn size_of_mark(shape: Shape, pixels: f32, turned: f64) -> f64 {
    let mut out = Offscreen::new().unwrap();
    quads(&mut out, 0, 0.9, 0.0, RED);
    let mark = Mark::new([0.0; 3], pixels, BLUE, shape);
    out.scene.set(Slot(1), &Item::Marks(&[mark]));
    let look = Look {
        colour: BLUE,
        ..Look::default()
    };
    out.scene.set_look(Slot(1), look);
    let mut view = view();
    view.camera.turn(turned, 0.0);
    let picture = out.picture(&view).unwrap();
    // Pixels at the rim count for their share of the mark; the face has no blue.
    let share = |p: &[u8; 4]| f64::from(p[2]) / 255.0;
    picture.iter().filter(|p| **p != GROUND).map(share).sum()
}

#[test]
fn marks_cover_the_area_of_their_shape_on_slanted_faces_too() {
    let radius = 20.0_f64;
    let polygon = |n: f64| 0.5 * n * radius.powi(2) * (std::f64::consts::TAU / n).sin();
    let square = (2.0 * 0.886 * radius).powi(2);
    for turned in [0.0, 0.7] {
        for (shape, area) in [
            (Shape::Disc, std::f64::consts::PI * radius.powi(2)),
            (Shape::Triangle, polygon(3.0)),
            (Shape::Tip, polygon(4.0)),
            (Shape::Pentagon, polygon(5.0)),
            (Shape::Square, square),
        ] {
            let found = size_of_mark(shape, 2.0 * radius as f32, turned);
            assert!(
                (found / area - 1.0).abs() < 0.02,
                "{shape:?} {found} {area}"
            );
        }
    }
}

#[test]
fn widths_and_sizes_follow_the_scale() {
    let mut out = Offscreen::new().unwrap();
    let mark = Mark::new([0.0, 0.7, 0.0], 10.0, BLUE, Shape::Square);
    let look = Look {
        width: 4.0,
        ..Look::default()
    };
    let mut covered = Vec::new();
    for scale in [1.0, 2.0] {
        let view = View { scale, ..view() };
        out.scene.set(Slot(1), &Item::Marks(&[mark]));
        out.scene.clear(Slot(0));
        let marks = painted(&out.picture(&view).unwrap()) as f64;
        out.scene.clear(Slot(1));
        line(
            &mut out,
            0,
            &[[-0.9, 0.0, 0.0], [0.9, 0.0, 0.0]],
            BLUE,
            look,
        );
        covered.push([marks, painted(&out.picture(&view).unwrap()) as f64]);
    }
    let ratio = |k: usize| covered[1][k] / covered[0][k];
    assert!((ratio(0) / 4.0 - 1.0).abs() < 0.15, "{covered:?}");
    assert!((ratio(1) / 2.0 - 1.0).abs() < 0.15, "{covered:?}");
}

#[test]
fn small_buffers_give_the_same_picture() {
    // A bent sheet of 120 × 120 quads, its edges, and a mark on each vertex.
    let n = 120_u32;
    let at = |i: u32, j: u32| {
        let [x, y] = [i, j].map(|k| 1.6 * (k as f32 / n as f32) - 0.8);
        [x, y, 0.3 * (3.0 * x).sin()]
    };
    let positions: Vec<[f32; 3]> = (0..=n)
        .flat_map(|j| (0..=n).map(move |i| at(i, j)))
        .collect();
    let mut triangles = Vec::new();
    let mut pieces = Vec::new();
    for j in 0..n {
        for i in 0..n {
            let v = j * (n + 1) + i;
            triangles.extend([[v, v + 1, v + n + 2], [v, v + n + 2, v + n + 1]]);
            pieces.push(Piece {
                ends: [at(i, j), at(i + 1, j)],
                colour: BLUE,
            });
        }
    }
    let marks: Vec<Mark> = positions
        .iter()
        .map(|p| Mark::new(*p, 4.0, BLUE, Shape::Disc))
        .collect();
    // Of triangles, lines and marks, each a third of a megabyte and more.
    let pictures = [256 << 20, 160 << 10].map(|most| {
        let limits = wgpu::Limits {
            max_buffer_size: most,
            max_uniform_buffer_binding_size: 1024,
            max_storage_buffer_binding_size: 4096,
            ..wgpu::Limits::default()
        };
        let mut out = Offscreen::on(wgpu::Backends::all(), limits).unwrap();
        let mesh = Item::Mesh {
            positions: &positions,
            normals: &[],
            triangles: &triangles,
        };
        out.scene.set(Slot(0), &mesh);
        out.scene.set(Slot(1), &Item::Lines(&pieces));
        out.scene.set(Slot(2), &Item::Marks(&marks));
        let picture = out.picture(&view()).unwrap();
        assert!(painted(&picture) > 3500 && out.scene.left_out().is_empty());
        picture
    });
    assert!(pictures[0] == pictures[1]);
}

#[test]
fn corners_that_are_not_there_and_huge_windows_do_no_harm() {
    let mut out = Offscreen::new().unwrap();
    let positions = square(0.5, 0.0);
    let mesh = Item::Mesh {
        positions: &positions,
        normals: &[[0.0, 0.0, 1.0]],
        triangles: &[[0, 1, 2], [0, 2, u32::MAX], [0, 2, 3], [4, 0, 1]],
    };
    out.scene.set(Slot(0), &mesh);
    let red = Look {
        colour: RED,
        ..Look::default()
    };
    out.scene.set_look(Slot(0), red);
    let picture = out.picture(&view()).unwrap();
    let side = 2.0 * 0.5 / view().camera.units_per_pixel(size().y);
    let share = painted(&picture) as f64 / side.powi(2);
    assert!((share - 1.0).abs() < 0.04, "{share}");
    let huge = View {
        size: [u32::MAX, 3],
        ..view()
    };
    assert!(out.scene.render(&huge));
    let empty = View {
        size: [0, 0],
        ..view()
    };
    assert_eq!(out.picture(&empty).unwrap().len(), 1);
}

#[test]
fn without_a_device_the_message_says_what_to_install() {
    let Err(error) = Offscreen::on(wgpu::Backends::empty(), wgpu::Limits::default()) else {
        panic!("there is no device of no kind");
    };
    assert!(matches!(error, RenderError::NoAdapter(_)));
    assert!(error.to_string().contains("mesa-vulkan-drivers"), "{error}");
}
