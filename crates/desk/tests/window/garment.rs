//! The end of the job on the desk: trims and layers, listed, shown, changed and taken out.

use egui::{Key, Modifiers, Pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use loopwright_desk::Desk;
use mesh::{DVec3, QuadMesh, TriMesh, Vec3};

use crate::support::{Folder, desk, over_the_front, picture, settle, stroke};

/// What the job on the desk asks for.
fn spec(desk: &Harness<'_, Desk>) -> files::JobSpec {
    let job = files::JobFile::parse("coat.toml".as_ref(), desk.state().text().unwrap());
    job.unwrap().spec().clone()
}

/// Types a number into a field.
fn enter(desk: &mut Harness<'_, Desk>, field: &str, number: &str) {
    desk.get_by_label(field).click();
    desk.run_steps(3);
    desk.key_press_modifiers(Modifiers::COMMAND, Key::A);
    desk.get_by_label(field).type_text(number);
    desk.run_steps(2);
    desk.key_press(Key::Enter);
    desk.run_steps(2);
    settle(desk);
}

fn surface(desk: &Harness<'_, Desk>) -> QuadMesh {
    desk.state().surface().unwrap().clone()
}

/// Where a quad of a trim that looks to the front is in the window.
fn on_trim(desk: &Harness<'_, Desk>, group: &str) -> Pos2 {
    let surface = surface(desk);
    let quads = &surface
        .groups
        .iter()
        .find(|g| g.name == group)
        .unwrap()
        .quads;
    let front = |&&quad: &&u32| {
        let [a, b, c, d] = surface.quads[quad as usize].map(|v| surface.positions[v as usize]);
        let normal = (c - a).cross(d - b).normalize();
        (normal.z > 0.6).then_some(surface.centre(quad as usize).z)
    };
    let seen = quads.iter().filter(|q| front(q).is_some());
    let quad = seen.max_by(|a, b| front(a).unwrap().total_cmp(&front(b).unwrap()));
    let at = surface.centre(*quad.unwrap() as usize);
    desk.state().place_of(at).unwrap()
}

#[test]
fn a_trim_is_added_shown_changed_refused_and_taken_out() {
    let folder = Folder::new("trim");
    let mut desk = desk(&folder.job());
    let before = desk.state().text().unwrap().to_owned();
    let plain = surface(&desk);
    desk.get_by_label("front").click();
    desk.get_by_label("Add a trim").click();
    settle(&mut desk);
    desk.get_by_label("trim 1 (cuff at 'neck')");
    desk.get_by_label("Front of trim 1: overlap").click();
    settle(&mut desk);
    let has_lap = |mesh: &QuadMesh| mesh.groups.iter().any(|g| g.name == "trim_1_lap");
    assert!(has_lap(&surface(&desk)) && spec(&desk).trims[0].lap > 0.0);
    desk.get_by_label("End on top of trim 1: left").click();
    settle(&mut desk);
    assert_eq!(spec(&desk).trims[0].upper, files::TrimEnd::Left);
    assert!(has_lap(&surface(&desk)));
    desk.get_by_label("Front of trim 1: closed").click();
    settle(&mut desk);
    assert!(!has_lap(&surface(&desk)) && spec(&desk).trims[0].lap == 0.0);
    desk.get_by_label("At of trim 1: left wrist").click();
    settle(&mut desk);
    desk.get_by_label("trim 1 (cuff at 'left wrist')");
    // The plain surface comes first, to the bit, then the cloth and its image.
    let cuffed = surface(&desk);
    assert_eq!(cuffed.quads[..plain.quads.len()], plain.quads);
    assert_eq!(cuffed.positions[..plain.positions.len()], plain.positions);
    assert!(cuffed.groups.iter().any(|g| g.name == "trim_1"));
    picture(&mut desk, "desk-trim.png");

    enter(&mut desk, "Height of trim 1", "6");
    enter(&mut desk, "Thickness of trim 1", "0.5");
    desk.get_by_label("Edge of trim 1: rounded").click();
    settle(&mut desk);
    let trim = spec(&desk).trims[0].clone();
    assert_eq!((trim.height, trim.thickness), (6.0, 0.5));
    assert_eq!(trim.edge, files::TrimEdge::Rounded);
    // Each of them is a step.
    let text = desk.state().text().unwrap().to_owned();
    desk.get_by_label("Undo").click();
    desk.get_by_label("Undo").click();
    settle(&mut desk);
    let trim = spec(&desk).trims[0].clone();
    assert_ne!(trim.thickness, 0.5);
    assert_eq!((trim.height, trim.edge), (6.0, files::TrimEdge::Flat));
    desk.get_by_label("Redo").click();
    desk.get_by_label("Redo").click();
    settle(&mut desk);
    assert_eq!(desk.state().text(), Some(text.as_str()));

    // What can't be woven is told with its line, and the plain surface is there.
    enter(&mut desk, "Thickness of trim 1", "40");
    assert_eq!(surface(&desk).quads.len(), plain.quads.len());
    let line = spec(&desk).trims[0].line;
    let told = format!("fails: coat.toml:{line}: trim 'trim 1': a thickness of 40 is too much");
    desk.get_by_label_contains(&told).click();
    desk.run_steps(2);
    picture(&mut desk, "desk-trim-refused.png");

    desk.get_by_label("Take out trim 1").click();
    settle(&mut desk);
    assert_eq!(desk.state().text(), Some(before.as_str()));
    assert_eq!(surface(&desk).quads.len(), plain.quads.len());

    desk.get_by_label("Lining").click();
    settle(&mut desk);
    assert!(spec(&desk).lining.is_some());
    let lined = surface(&desk);
    assert_eq!(lined.quads[..plain.quads.len()], plain.quads);
    assert!(lined.quads.len() > 2 * plain.quads.len());
    enter(&mut desk, "Thickness of the lining", "0.4");
    assert_eq!(spec(&desk).lining.unwrap().thickness, 0.4);
    desk.get_by_label("Lining").click();
    settle(&mut desk);
    assert_eq!(surface(&desk).quads.len(), plain.quads.len());
}

#[test]
fn a_trims_quads_cant_be_held_and_those_beside_it_can() {
    let folder = Folder::new("trim-hold");
    let job = folder.job();
    let mut file = files::JobFile::read(&job).unwrap();
    let mut with_trim = file.spec().clone();
    let cuff = files::TrimSpec::new("cuff", files::TrimKind::Cuff, "left wrist", 5.0, 0.4);
    with_trim.trims.push(cuff);
    file.update(with_trim).unwrap();
    file.save().unwrap();
    let mut desk = desk(&job);
    desk.get_by_label("front").click();
    desk.run_steps(2);
    desk.key_press(Key::Minus);
    desk.run_steps(2);
    let at = on_trim(&desk, "cuff");
    stroke(&mut desk, &[at], Modifiers::default());
    settle(&mut desk);
    // The brush is wider than the cuff: what it held beside it is the coat's own.
    let said = desk.query_by_label_contains("This is a trim").is_some();
    let holds = spec(&desk).holds.len();
    assert!(said || holds == 1);
    if holds == 1 {
        desk.get_by_label("Undo").click();
        settle(&mut desk);
    }
    for hand in ["Change loops", "Nudge vertex"] {
        desk.get_by_label(hand).click();
        desk.run_steps(2);
        stroke(&mut desk, &[at], Modifiers::default());
        desk.run_steps(2);
        desk.get_by_label_contains("This is a trim");
        assert!(spec(&desk).edits.is_empty());
    }
    desk.key_press(Key::Minus);
    desk.run_steps(2);
    let path = over_the_front(&desk);
    stroke(&mut desk, &path, Modifiers::default());
    settle(&mut desk);
    let holds = spec(&desk).holds;
    assert_eq!(holds.len(), 1);
    let held = files::read_held(&folder.0.join(&holds[0].file)).unwrap();
    let surface = surface(&desk);
    let trim = surface.groups.iter().find(|g| g.name == "cuff").unwrap();
    let of_trim: Vec<DVec3> = trim
        .quads
        .iter()
        .map(|&q| surface.centre(q as usize))
        .collect();
    for i in 0..held.mesh.quads.len() {
        assert!(!of_trim.contains(&held.mesh.centre(i)));
    }
}

/// A ball, as a file.
fn ball(middle: DVec3, radius: f64) -> Vec<u8> {
    let unit = demo::sphere(4_000);
    let own = unit
        .positions
        .iter()
        .map(|p| p.length())
        .fold(0.0, f32::max);
    let place = |p: &Vec3| *p * (radius as f32 / own) + middle.as_vec3();
    files::ply_bytes(&TriMesh {
        positions: unit.positions.iter().map(place).collect(),
        triangles: unit.triangles,
    })
}

/// The middle of the coat at the height of its chest, and how far its front is from there.
fn chest(surface: &QuadMesh) -> (DVec3, f64) {
    let low = surface
        .positions
        .iter()
        .copied()
        .fold(DVec3::INFINITY, DVec3::min);
    let high = surface
        .positions
        .iter()
        .copied()
        .fold(DVec3::NEG_INFINITY, DVec3::max);
    let y = low.y + 0.6 * (high.y - low.y);
    let near = |p: &&DVec3| (p.y - y).abs() < 6.0 && p.x.abs() < 1e-9;
    let line: Vec<DVec3> = surface.positions.iter().filter(near).copied().collect();
    let front = line.iter().map(|p| p.z).fold(f64::MIN, f64::max);
    let back = line.iter().map(|p| p.z).fold(f64::MAX, f64::min);
    (
        DVec3::new(0.0, y, (front + back) / 2.0),
        (front - back) / 2.0,
    )
}

#[test]
fn a_layer_is_added_shown_cleared_of_noticed_when_it_changes_and_taken_out() {
    let folder = Folder::new("layer");
    let mut desk = desk(&folder.job());
    let before = desk.state().text().unwrap().to_owned();
    let plain = surface(&desk);
    let (middle, depth) = chest(&plain);
    std::fs::write(folder.0.join("keeper.ply"), ball(middle, depth + 0.4)).unwrap();
    desk.get_by_label("front").click();
    desk.get_by_label("Add a layer").click();
    desk.run_steps(3);
    desk.get_by_label("keeper.ply").click();
    desk.run_steps(3);
    desk.get_by_label("Add it").click();
    settle(&mut desk);
    let layer = spec(&desk).layers[0].clone();
    assert_eq!(layer.name, "keeper");
    assert_eq!(layer.file, std::path::PathBuf::from("keeper.ply"));
    desk.get_by_label("keeper (under the surface)");
    // The surface went through it, and doesn't any more.
    let cleared = surface(&desk);
    assert_eq!(cleared.quads, plain.quads);
    assert_ne!(cleared.positions, plain.positions);
    let least = cleared.positions.iter().map(|p| p.distance(middle));
    assert!(least.fold(f64::MAX, f64::min) > depth + 0.4);
    picture(&mut desk, "desk-layer.png");
    desk.get_by_label_contains("Before it was moved, the surface met layer 'keeper'")
        .click_accesskit();
    desk.run_steps(3);
    picture(&mut desk, "desk-layer-met.png");
    for look in ["ghost", "hidden", "full"] {
        desk.get_by_label(&format!("Layer keeper {look}")).click();
        desk.run_steps(2);
        picture(&mut desk, &format!("desk-layer-{look}.png"));
    }
    desk.get_by_label("Surface ghost").click();
    desk.run_steps(2);
    picture(&mut desk, "desk-layer-under-ghost.png");
    desk.get_by_label("Surface full").click();
    // No coat fits within the ball: taken back before that is tried.
    desk.get_by_label("Side of keeper: over").click();
    desk.run_steps(2);
    assert_eq!(spec(&desk).layers[0].side, files::LayerSide::Over);
    desk.get_by_label("Undo").click();
    settle(&mut desk);
    enter(&mut desk, "Clearance of keeper", "0.3");
    desk.get_by_label("Leave out its hidden faces").click();
    settle(&mut desk);
    let layer = spec(&desk).layers[0].clone();
    assert!(layer.clearance == 0.3 && layer.margin.is_some());

    // Another program makes it smaller: nothing is in the way then.
    std::fs::write(folder.0.join("keeper.ply"), ball(middle, 0.5 * depth)).unwrap();
    for _ in 0..1_000 {
        desk.step();
        if desk.query_by_label("Read anew").is_some() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    desk.get_by_label("Read anew").click();
    desk.run_steps(2);
    settle(&mut desk);
    assert_eq!(surface(&desk).positions, plain.positions);

    desk.get_by_label("Take out keeper").click();
    settle(&mut desk);
    assert_eq!(desk.state().text(), Some(before.as_str()));
    assert!(desk.query_by_label("Layer keeper full").is_none());
}
