//! What the tests share: a coat to open, and a pen.

use std::path::{Path, PathBuf};
use std::time::Duration;

use egui::{Modifiers, Pos2, Vec2};
use egui_kittest::Harness;
use loopwright_desk::{Desk, Start};
use mesh::DVec3;

/// Frames, 20 ms apart, after which the desk counts as hanging.
const PATIENCE: usize = 6_000;

/// A folder of its own with the coat's sculpt and job.
pub struct Folder(pub PathBuf);

impl Folder {
    pub fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("loopwright-desk-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        let options = demo::DemoOptions {
            triangles: 60_000,
            ..demo::DemoOptions::default()
        };
        let coat = demo::coat(&options, &base::Task::default()).unwrap();
        std::fs::write(path.join("oilskin.ply"), files::ply_bytes(&coat.mesh)).unwrap();
        let mut spec = files::JobSpec::new("oilskin coat", "oilskin.ply");
        spec.symmetry.plane = files::PlaneSpec::X;
        spec.set_faces(900).unwrap();
        // Openings alone: the sleeves are left to the test.
        for guide in coat.guides.iter().filter(|g| g.kind == "opening") {
            let kind = files::GuideKind::Opening;
            spec.guides.push(files::GuideSpec {
                count: guide.count,
                ..files::GuideSpec::new(&guide.name, kind, guide.points.clone())
            });
        }
        files::JobFile::create(&path.join("coat.toml"), &spec)
            .unwrap()
            .save()
            .unwrap();
        Self(path)
    }

    pub fn job(&self) -> PathBuf {
        self.0.join("coat.toml")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

pub fn desk(job: &Path) -> Harness<'static, Desk> {
    let start = Start::of_file(job);
    let mut desk = Harness::builder()
        .with_size(Vec2::new(1280.0, 800.0))
        .wgpu()
        .build_eframe(move |cc| Desk::new(&cc.egui_ctx, start));
    settle(&mut desk);
    desk
}

/// Runs frames until nothing is opened or computed any more.
pub fn settle(desk: &mut Harness<'_, Desk>) {
    for _ in 0..PATIENCE {
        desk.step();
        if !desk.state().is_busy() {
            desk.step();
            return;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    panic!("the desk doesn't come to rest");
}

/// A stroke with the primary button.
pub fn stroke(desk: &mut Harness<'_, Desk>, path: &[Pos2], modifiers: Modifiers) {
    let button = |pos: Pos2, pressed: bool| egui::Event::PointerButton {
        pos,
        button: egui::PointerButton::Primary,
        pressed,
        modifiers,
    };
    desk.event(egui::Event::PointerMoved(path[0]));
    desk.event(button(path[0], true));
    desk.step();
    for &at in &path[1..] {
        desk.event(egui::Event::PointerMoved(at));
        desk.step();
    }
    let last = path[path.len() - 1];
    desk.event(button(last, false));
    desk.step();
}

/// Middle of the quad that is furthest to the front, and a place near the middle of one of its edges.
pub fn front_quad(desk: &Harness<'_, Desk>) -> Pos2 {
    let surface = desk.state().surface().unwrap();
    let middle = |quad: &[u32; 4]| {
        quad.iter()
            .map(|&v| surface.positions[v as usize])
            .sum::<DVec3>()
            / 4.0
    };
    let quads = surface.quads.iter().map(|q| (middle(q), q));
    let (at, quad) = quads.max_by(|a, b| a.0.z.total_cmp(&b.0.z)).unwrap();
    let [a, b] = [quad[0], quad[1]].map(|v| surface.positions[v as usize]);
    desk.state().place_of(at.lerp((a + b) / 2.0, 0.6)).unwrap()
}

/// A stroke over the front of the coat, a few quads long.
pub fn over_the_front(desk: &Harness<'_, Desk>) -> Vec<Pos2> {
    let from = front_quad(desk);
    (0..=8)
        .map(|i| from + Vec2::new(2.0, 6.0) * i as f32)
        .collect()
}

/// Leaves a picture of the desk where `LOOPWRIGHT_PICTURES` says, to be looked at.
pub fn picture(desk: &mut Harness<'_, Desk>, name: &str) {
    if let Ok(folder) = std::env::var("LOOPWRIGHT_PICTURES") {
        let picture = desk.render().unwrap();
        picture.save(Path::new(&folder).join(name)).unwrap();
    }
}
