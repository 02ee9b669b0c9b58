//! What the artist at the desk waits for: a frame, and the surface after the pen is lifted.

use std::sync::mpsc::{Receiver, Sender, channel};

use engine::model::Sculpt;
use glam::DVec2;
use render::{Camera, Item, Offscreen, Slot, View};
use session::{Document, Event, LayerFiles, Order, Settings, Way, Worker};

use crate::clock::{line, median, timed};
use crate::coat::Coat;

/// Faces of the everyday job.
const FACES: usize = 1800;
/// Size of the picture, pixels: a common window's view.
const SIZE: [u32; 2] = [1280, 960];
/// Radians that the view turns from frame to frame.
const TURN: f64 = 0.1;

/// Times frames of the sculpt while the view turns, each until its picture can be read.
pub fn frames(sculpt: &Sculpt, runs: usize) {
    let mut device = match Offscreen::new() {
        Ok(device) => device,
        Err(problem) => {
            println!("  no frames: {problem}");
            return;
        }
    };
    let positions: Vec<[f32; 3]> = sculpt.mesh.positions.iter().map(|p| p.to_array()).collect();
    let normals: Vec<[f32; 3]> = sculpt.normals.iter().map(|n| n.to_array()).collect();
    device.scene.set(
        Slot(0),
        &Item::Mesh {
            positions: &positions,
            normals: &normals,
            triangles: &sculpt.mesh.triangles,
        },
    );
    let (low, high) = sculpt.mesh.bounds().expect("a sculpt");
    let mut camera = Camera::default();
    camera.frame(
        low,
        high,
        DVec2::new(f64::from(SIZE[0]), f64::from(SIZE[1])),
    );
    let mut frame = || {
        camera.turn(TURN, 0.0);
        let view = View {
            camera,
            size: SIZE,
            scale: 1.0,
            ground: [[236, 239, 236, 255], [203, 211, 208, 255]],
            centre: (low + high) / 2.0,
            radius: (high - low).length() / 2.0,
        };
        timed(|| device.picture(&view).expect("a picture")).1
    };
    // The first one sends everything to the device.
    let first = frame();
    let rest = median((0..2 * runs).map(|_| frame()));
    let millions = sculpt.mesh.triangles.len() as f64 / 1e6;
    println!("  {millions:.3} M triangles, {SIZE:?} pixels, with reading back");
    line("first frame", 1e3 * first, "ms");
    line("a frame while the view turns", 1e3 * rest, "ms");
}

/// Times the worker from the moment the pen is lifted.
pub fn pen_up(coat: &Coat, sculpt: &Sculpt, runs: usize) {
    println!(
        "  medians of {runs} runs, {:.3} M triangles",
        coat.millions()
    );
    let bent = (coat.settings(FACES), coat.changed(FACES));
    let drawn = (coat.without_moved(FACES), coat.settings(FACES));
    for (name, (before, after)) in [("a guide bent", bent), ("a ring drawn", drawn)] {
        let waits: Vec<[f64; 2]> = (0..runs).map(|_| wait(sculpt, &before, &after)).collect();
        line(
            &format!("{name}, until a surface follows"),
            median(waits.iter().map(|w| w[0])),
            "s",
        );
        line(
            &format!("{name}, until the surface of a plain run"),
            median(waits.iter().map(|w| w[1])),
            "s",
        );
    }
}

/// Seconds from an order to its first surface and to its last, on a desk that shows another already.
fn wait(sculpt: &Sculpt, before: &Settings, after: &Settings) -> [f64; 2] {
    let (bell, ring): (Sender<()>, Receiver<()>) = channel();
    let worker = Worker::start(sculpt.clone(), LayerFiles::default(), move || {
        // Nobody listens at the end.
        let _ = bell.send(());
    })
    .expect("a thread");
    // A job without trims and layers.
    let (document, _) = Document::for_sculpt("coat.ply".as_ref()).expect("a job");
    let order = |stamp: u64, settings: &Settings| Order {
        stamp,
        job: document.file().clone(),
        settings: settings.clone(),
        way: Way::default(),
        reads_layers: false,
    };
    let until = |done: &mut dyn FnMut(&Event) -> bool| {
        loop {
            ring.recv().expect("news");
            if worker.poll().iter().any(&mut *done) {
                return;
            }
        }
    };
    worker.submit(order(1, before));
    until(&mut |event| matches!(event, Event::Completed { stamp: 1, .. }));
    let mut first = None;
    let ((), last) = timed(|| {
        worker.submit(order(2, after));
        let start = std::time::Instant::now();
        until(&mut |event| match event {
            Event::Surface {
                stamp: 2, carried, ..
            } => {
                first.get_or_insert(start.elapsed().as_secs_f64());
                !carried
            }
            _ => false,
        });
    });
    [first.unwrap_or(last), last]
}
