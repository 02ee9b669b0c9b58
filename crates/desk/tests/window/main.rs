//! The desk without a window system: by the labels that assistive technology hears, and by real
//! pointer events on whatever graphics device there is.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

mod garment;
mod support;

use egui::{Modifiers, Pos2, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use loopwright_desk::{Desk, Start};
use mesh::DVec3;
use support::{Folder, desk, front_quad, over_the_front, picture, settle, stroke};

/// Across the coat's left sleeve in the front view, from air to air.
fn across_sleeve(desk: &Harness<'_, Desk>) -> Vec<Pos2> {
    let surface = desk.state().surface().unwrap();
    // The sleeve hangs out furthest to +x: its middle, and across.
    let tip = surface
        .positions
        .iter()
        .copied()
        .max_by(|a, b| a.x.total_cmp(&b.x))
        .unwrap();
    let shoulder = DVec3::new(0.0, tip.y, tip.z);
    let near = |p: &&DVec3| (p.x - 0.75 * tip.x).abs() < 0.04 * tip.x;
    let ring: Vec<DVec3> = surface.positions.iter().filter(near).copied().collect();
    assert!(ring.len() >= 4, "{tip} {shoulder}");
    let middle = ring.iter().sum::<DVec3>() / ring.len() as f64;
    let high = ring
        .iter()
        .map(|p| (p.y - middle.y).abs())
        .fold(0.0, f64::max)
        + 4.0;
    (0..=16)
        .map(|i| {
            let y = middle.y + high * (1.0 - f64::from(i) / 8.0);
            desk.state()
                .place_of(DVec3::new(middle.x, y, middle.z))
                .unwrap()
        })
        .collect()
}

/// A path across the coat at a height, from beside it to beside it.
fn across_body(desk: &Harness<'_, Desk>, share: f64) -> Vec<Pos2> {
    let places = &desk.state().surface().unwrap().positions;
    let [low, high] = [f64::min, f64::max]
        .map(|least: fn(f64, f64) -> f64| places.iter().map(|p| p.y).reduce(least).unwrap());
    let y = low + share * (high - low);
    let near = |p: &&DVec3| (p.y - y).abs() < 0.05 * (high - low);
    let wide = places.iter().filter(near).map(|p| p.x).fold(0.0, f64::max) + 4.0;
    let step = |i: i32| DVec3::new(wide * (f64::from(i) / 8.0 - 1.0), y, 0.0);
    (0..=16)
        .map(|i| desk.state().place_of(step(i)).unwrap())
        .collect()
}

#[test]
fn a_picked_ring_takes_a_band() {
    let folder = Folder::new("band");
    let mut desk = desk(&folder.job());
    settle(&mut desk);
    desk.get_by_label("Draw ring").click();
    desk.run_steps(2);
    let path = across_body(&desk, 0.35);
    stroke(&mut desk, &path, Modifiers::default());
    settle(&mut desk);
    let plain = desk.state().surface().unwrap().clone();
    desk.get_by_label("Add a trim").click();
    settle(&mut desk);
    picture(&mut desk, "desk-band.png");
    desk.get_by_label("trim 1 (band at 'ring 1')");
    let banded = desk.state().surface().unwrap();
    assert!(banded.groups.iter().any(|g| g.name == "trim_1"));
    assert_eq!(banded.quads[..plain.quads.len()], plain.quads);
}

#[test]
fn a_ring_drawn_across_a_sleeve_is_listed_counted_kept_saved_and_taken_back() {
    let folder = Folder::new("ring");
    let before = std::fs::read_to_string(folder.job()).unwrap();
    let mut desk = desk(&folder.job());
    assert_eq!(desk.state().text(), Some(before.as_str()));
    assert!(desk.state().surface().unwrap().quads.len() > 700);
    desk.get_by_label("front").click();
    desk.run_steps(2);
    desk.get_by_label("Draw ring").click();
    desk.run_steps(2);
    let path = across_sleeve(&desk);
    stroke(&mut desk, &path, Modifiers::default());
    settle(&mut desk);
    // In the list, and picked.
    desk.get_by_label("ring 1 (ring)");
    assert!(desk.state().text().unwrap().contains("name = \"ring 1\""));
    // A number of quads along it.
    desk.get_by_label("Quads along it").click();
    settle(&mut desk);
    desk.get_by_label("ring 1 (ring, 12 quads)");
    let job = files::JobFile::parse("coat.toml".as_ref(), desk.state().text().unwrap()).unwrap();
    let ring = job
        .spec()
        .guides
        .iter()
        .find(|g| g.name == "ring 1")
        .unwrap();
    assert_eq!((ring.count, ring.closed), (Some(12), true));
    // The mesh has a loop of twelve edges about where the ring is.
    assert_eq!(
        loop_along(desk.state().surface().unwrap(), &ring.points),
        Some(12)
    );
    // What isn't saved is beside the job; the job itself is as it was.
    assert_eq!(std::fs::read_to_string(folder.job()).unwrap(), before);
    assert!(folder.0.join(".coat.toml.unsaved").exists());
    desk.get_by_label("Save").click();
    desk.run_steps(2);
    let saved = std::fs::read_to_string(folder.job()).unwrap();
    assert_eq!(Some(saved.as_str()), desk.state().text());
    assert!(!folder.0.join(".coat.toml.unsaved").exists());
    for _ in 0..2 {
        desk.get_by_label("Undo").click();
        settle(&mut desk);
    }
    assert_eq!(desk.state().text(), Some(before.as_str()));
    desk.get_by_label("Save").click();
    desk.run_steps(2);
    assert_eq!(std::fs::read_to_string(folder.job()).unwrap(), before);
}

/// Edges of the closed loop of mesh edges that runs along a drawn ring: from the vertex nearest to its
/// first point straight on, until it comes back.
fn loop_along(surface: &mesh::QuadMesh, ring: &[DVec3]) -> Option<usize> {
    let line = mesh::Polyline {
        points: ring.to_vec(),
        closed: true,
    };
    let off = |v: u32| {
        line.nearest(surface.positions[v as usize])
            .unwrap()
            .distance
    };
    let count = surface.positions.len() as u32;
    let first = (0..count).min_by(|&a, &b| off(a).total_cmp(&off(b)))?;
    let topology = surface.topology();
    let around = |v: u32| {
        let edges = topology.edges.iter().filter(move |e| e.contains(&v));
        edges.map(move |e| if e[0] == v { e[1] } else { e[0] })
    };
    let (mut before, mut at, mut steps) = (first, first, 0);
    loop {
        let next = around(at)
            .filter(|&v| v != before)
            .min_by(|&a, &b| off(a).total_cmp(&off(b)))?;
        (before, at, steps) = (at, next, steps + 1);
        if at == first || steps > 200 {
            return (at == first).then_some(steps);
        }
    }
}

#[test]
fn every_button_has_a_name_and_hands_are_taken_up_by_keys() {
    let folder = Folder::new("keys");
    let mut desk = desk(&folder.job());
    for label in [
        "Save",
        "Undo",
        "Redo",
        "Help",
        "Look round",
        "Draw ring",
        "Draw line",
        "Draw opening",
    ] {
        desk.get_by_label(label);
    }
    desk.key_press(egui::Key::Num2);
    desk.run_steps(2);
    desk.get_by_label_contains("The view. Draw line");
    desk.key_press(egui::Key::F1);
    desk.run_steps(3);
    desk.get_by_label_contains("What isn't saved is kept beside the job");
}

#[test]
fn unsaved_work_is_offered_after_a_desk_that_ended_by_force() {
    let folder = Folder::new("recover");
    let (mut document, _) = session::Document::open(&folder.job()).unwrap();
    document
        .change("Ask for 1000", |spec| spec.set_faces(1000).unwrap())
        .unwrap();
    let unsaved = document.text().to_owned();
    std::mem::forget(document);
    let mut desk = desk(&folder.job());
    assert_ne!(desk.state().text(), Some(unsaved.as_str()));
    desk.run_steps(3);
    desk.get_by_label("Take it up").click();
    settle(&mut desk);
    assert_eq!(desk.state().text(), Some(unsaved.as_str()));
}

#[test]
fn the_picture_shows_the_coat_and_changes_with_the_view() {
    let folder = Folder::new("picture");
    let mut desk = desk(&folder.job());
    desk.run_steps(2);
    let one = desk.render().unwrap();
    desk.get_by_label("back").click();
    desk.run_steps(2);
    let two = desk.render().unwrap();
    let differing = one
        .pixels()
        .zip(two.pixels())
        .filter(|(a, b)| a != b)
        .count();
    let share = differing as f64 / f64::from(one.width() * one.height());
    assert!(share > 0.05, "{share}");
    picture(&mut desk, "desk-back.png");
}

#[test]
fn loops_are_put_in_by_a_click_and_a_guide_is_bent_by_a_drag() {
    let folder = Folder::new("loops");
    let mut desk = desk(&folder.job());
    desk.get_by_label("front").click();
    desk.run_steps(2);
    let before = desk.state().surface().unwrap().quads.len();
    desk.key_press(egui::Key::Num5);
    desk.run_steps(2);
    let at = front_quad(&desk);
    stroke(&mut desk, &[at], Modifiers::default());
    settle(&mut desk);
    let text = desk.state().text().unwrap().to_owned();
    assert!(
        text.contains("[[edit]]") && text.contains("insert"),
        "{text}"
    );
    let after = desk.state().surface().unwrap().quads.len();
    assert!(after > before, "{before} {after}");
    desk.get_by_label("Undo").click();
    settle(&mut desk);
    assert_eq!(desk.state().surface().unwrap().quads.len(), before);
    // A ring, and a drag that slides it along the sleeve.
    desk.key_press(egui::Key::Num1);
    desk.run_steps(2);
    let path = across_sleeve(&desk);
    stroke(&mut desk, &path, Modifiers::default());
    settle(&mut desk);
    let ring = |desk: &Harness<'_, Desk>| {
        let job =
            files::JobFile::parse("coat.toml".as_ref(), desk.state().text().unwrap()).unwrap();
        let ring = job
            .spec()
            .guides
            .iter()
            .find(|g| g.name == "ring 1")
            .unwrap()
            .clone();
        (
            ring.points.iter().sum::<DVec3>() / ring.points.len() as f64,
            ring,
        )
    };
    let (was, drawn) = ring(&desk);
    let grip = drawn
        .points
        .iter()
        .copied()
        .max_by(|a, b| a.z.total_cmp(&b.z))
        .unwrap();
    let from = desk.state().place_of(grip).unwrap();
    desk.key_press(egui::Key::Num4);
    desk.run_steps(2);
    let to = from + Vec2::new(-24.0, -14.0);
    let drag: Vec<Pos2> = (0..=6).map(|i| from.lerp(to, i as f32 / 6.0)).collect();
    stroke(&mut desk, &drag, Modifiers::default());
    settle(&mut desk);
    let (now, bent) = ring(&desk);
    assert!(
        now.distance(was) > 0.1 && bent.points != drawn.points,
        "{was} {now}"
    );
    // The whole drag is one step.
    desk.get_by_label("Undo").click();
    settle(&mut desk);
    assert_eq!(ring(&desk).1.points, drawn.points);
}

#[test]
fn a_painted_density_is_listed_changed_and_taken_out() {
    let folder = Folder::new("paint");
    let mut desk = desk(&folder.job());
    let before = desk.state().text().unwrap().to_owned();
    desk.get_by_label("front").click();
    desk.run_steps(2);
    desk.key_press(egui::Key::Num9);
    desk.run_steps(2);
    let path = over_the_front(&desk);
    let at = |desk: &Harness<'_, Desk>| {
        let job = files::JobFile::parse("coat.toml".as_ref(), desk.state().text().unwrap());
        job.unwrap().spec().areas.clone()
    };
    stroke(&mut desk, &path, Modifiers::default());
    settle(&mut desk);
    let areas = at(&desk);
    assert_eq!(areas.len(), 1);
    assert_eq!(areas[0].size, files::AreaSize::Density(1.5));
    let files::RegionSpec::Outline(outline) = &areas[0].region else {
        panic!("{:?}", areas[0].region);
    };
    // The outline lies around the stroke in the picture, no further off than the brush is wide.
    for p in outline {
        let place = desk.state().place_of(*p).unwrap();
        let off = path
            .iter()
            .map(|q| q.distance(place))
            .fold(f32::MAX, f32::min);
        assert!(off <= 29.0, "{off}");
    }
    desk.get_by_label("Density of area 1");
    desk.get_by_label("Take out area 1").click();
    settle(&mut desk);
    assert_eq!(desk.state().text(), Some(before.as_str()));
}

#[test]
fn quads_held_by_hand_stay_bit_for_bit_in_the_next_surface() {
    let folder = Folder::new("hold");
    let mut desk = desk(&folder.job());
    desk.get_by_label("front").click();
    desk.run_steps(2);
    desk.key_press(egui::Key::Minus);
    desk.run_steps(2);
    let path = over_the_front(&desk);
    stroke(&mut desk, &path, Modifiers::default());
    settle(&mut desk);
    assert!(desk.state().text().unwrap().contains("[[hold]]"));
    let held = files::read_held(&folder.0.join("coat.held_1.obj")).unwrap();
    assert!(held.mesh.quads.len() > 3);
    let kept = |desk: &Harness<'_, Desk>| {
        let surface = desk.state().surface().unwrap();
        let all: std::collections::BTreeSet<[u64; 3]> = surface
            .positions
            .iter()
            .map(|p| p.to_array().map(f64::to_bits))
            .collect();
        let bits = held
            .mesh
            .positions
            .iter()
            .map(|p| p.to_array().map(f64::to_bits));
        bits.filter(|p| all.contains(p)).count()
    };
    assert_eq!(kept(&desk), held.mesh.positions.len());
    desk.get_by_label("Take out held 1").click();
    settle(&mut desk);
    assert!(!desk.state().text().unwrap().contains("[[hold]]"));
}

#[test]
fn a_job_is_saved_under_another_name_and_opened_from_the_list() {
    let folder = Folder::new("files");
    let mut desk = desk(&folder.job());
    desk.get_by_label("Save as").click();
    desk.run_steps(3);
    desk.get_by_label("File").focus();
    desk.run_steps(2);
    desk.key_press_modifiers(Modifiers::COMMAND, egui::Key::A);
    desk.get_by_label("File").type_text("other");
    desk.run_steps(2);
    desk.get_by_label("Write it").click();
    desk.run_steps(3);
    let other = folder.0.join("other.toml");
    let text = std::fs::read_to_string(&other).unwrap();
    assert_eq!(Some(text.as_str()), desk.state().text());
    // Back to the first, from the list.
    desk.key_press_modifiers(Modifiers::COMMAND, egui::Key::O);
    desk.run_steps(3);
    desk.get_by_label("coat.toml").click();
    desk.run_steps(3);
    desk.get_by_label("Open it").click();
    desk.run_steps(2);
    assert!(desk.state().is_busy());
    settle(&mut desk);
    desk.get_by_label("saved");
}

/// Every control that a pointer can press takes the keyboard's focus in its turn.
#[test]
fn the_keyboard_reaches_every_button() {
    use egui_kittest::kittest::NodeT as _;
    let folder = Folder::new("walk");
    let mut desk = desk(&folder.job());
    let label = |node: &egui_kittest::Node<'_>| node.accesskit_node().label().unwrap_or_default();
    let mut reached = std::collections::BTreeSet::new();
    for _ in 0..160 {
        desk.key_press(egui::Key::Tab);
        desk.step();
        let focused = desk.get_all_by(|node| node.is_focused());
        reached.extend(focused.map(|node| label(&node)));
    }
    let buttons = desk.get_all_by_role(egui::accesskit::Role::Button);
    let enabled = buttons.filter(|node| !node.accesskit_node().is_disabled());
    let names: Vec<String> = enabled.map(|node| label(&node)).collect();
    assert!(names.len() > 20, "{names:?}");
    for name in names {
        assert!(
            reached.contains(&name),
            "'{name}' isn't reached: {reached:?}"
        );
    }
}

/// Looks of rooms and screens: nothing of the sheets is cut off.
#[test]
fn light_and_dark_at_single_and_double_size() {
    for (scale, theme, name) in [
        (1.0, egui::Theme::Light, "light"),
        (2.0, egui::Theme::Dark, "double"),
    ] {
        let folder = Folder::new(name);
        let start = Start::of_file(&folder.job());
        let mut desk = Harness::builder()
            .with_size(Vec2::new(1280.0, 800.0))
            .with_pixels_per_point(scale)
            .wgpu()
            .build_eframe(move |cc| Desk::new(&cc.egui_ctx, start));
        desk.ctx.set_theme(theme);
        settle(&mut desk);
        for label in ["Draw ring", "Hold quads", "Open", "Help", "Frame"] {
            let place = desk.get_by_label(label).rect();
            assert!(
                egui::Rect::from_min_size(Pos2::ZERO, Vec2::new(1280.0, 800.0))
                    .contains_rect(place)
            );
        }
        let seen = desk.render().unwrap();
        assert_eq!(seen.width(), (1280.0 * scale) as u32);
        picture(&mut desk, &format!("desk-{name}.png"));
    }
}

/// Mean differences of a pixel's colour above this count (the measure and scale are `dify`'s).
const DIFFERS: f32 = 2.0;
/// Pixels that may differ: other drivers round edges otherwise, fonts don't change.
const MAY_DIFFER: usize = 900 * 600 / 100;

/// The picture of the desk is the stored one: `UPDATE_SNAPSHOTS=true` stores another, to be looked at
/// before it is kept.
#[test]
fn the_desk_looks_as_in_the_stored_picture() {
    let folder = Folder::new("stored");
    let start = Start::of_file(&folder.job());
    let mut desk = Harness::builder()
        .with_size(Vec2::new(900.0, 600.0))
        .wgpu()
        .build_eframe(move |cc| Desk::new(&cc.egui_ctx, start));
    desk.ctx.set_theme(egui::Theme::Dark);
    settle(&mut desk);
    desk.get_by_label("front").click();
    desk.run_steps(3);
    // The pointer's own traces aren't part of it.
    desk.event(egui::Event::PointerGone);
    desk.run_steps(3);
    let options = egui_kittest::SnapshotOptions::new()
        .threshold(DIFFERS)
        .max_failed_pixels(MAY_DIFFER)
        .output_path(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/pictures"));
    desk.snapshot_options("coat", &options);
}
