//! Choosing a file: folders and what the desk can open, by name.

use std::path::{Path, PathBuf};

use egui::{Context, ScrollArea, Ui, Window};

use crate::desk::Desk;

/// Kinds of files that can be opened, by the end of their names.
const KINDS: [&str; 6] = ["toml", "ply", "obj", "stl", "glb", "gltf"];

/// What a file is wanted for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FileWish {
    /// To open a job or a sculpt.
    Open,
    /// To write the job.
    SaveAs,
    /// To add a mesh as a layer.
    Layer,
}

/// A file being chosen.
#[derive(Clone, Debug)]
pub(crate) struct FileSheet {
    wish: FileWish,
    folder: PathBuf,
    /// The file's name as it is being typed.
    name: String,
    folders: Vec<String>,
    files: Vec<String>,
    /// Why the folder can't be read, or the file not be taken.
    trouble: Option<String>,
}

impl FileSheet {
    fn new(wish: FileWish, folder: PathBuf, name: String) -> Self {
        let mut sheet = Self {
            wish,
            folder: PathBuf::new(),
            name,
            folders: Vec::new(),
            files: Vec::new(),
            trouble: None,
        };
        sheet.go(folder);
        sheet
    }

    /// Goes to another folder.
    fn go(&mut self, folder: PathBuf) {
        self.folders.clear();
        self.files.clear();
        self.trouble = None;
        match std::fs::read_dir(&folder) {
            Ok(entries) => {
                for entry in entries.flatten() {
                    let name = entry.file_name().to_string_lossy().into_owned();
                    let is_folder = entry.path().is_dir();
                    if name.starts_with('.') {
                        continue;
                    }
                    if is_folder {
                        self.folders.push(name);
                    } else if can_open(&name) && !(self.wish == FileWish::Layer && is_job(&name)) {
                        self.files.push(name);
                    }
                }
            }
            Err(problem) => self.trouble = Some(format!("'{}': {problem}", folder.display())),
        }
        self.folders.sort();
        self.files.sort();
        self.folder = folder;
    }

    /// The file that is meant, if one is.
    fn chosen(&self) -> Option<PathBuf> {
        let name = self.name.trim();
        if name.is_empty() {
            return None;
        }
        let path = self.folder.join(name);
        Some(match self.wish {
            FileWish::SaveAs if path.extension().is_none() => path.with_extension("toml"),
            _ => path,
        })
    }
}

fn is_job(name: &str) -> bool {
    let kind = Path::new(name).extension();
    kind.is_some_and(|kind| kind.eq_ignore_ascii_case("toml"))
}

fn can_open(name: &str) -> bool {
    let kind = Path::new(name).extension().and_then(|e| e.to_str());
    kind.is_some_and(|kind| KINDS.contains(&kind.to_ascii_lowercase().as_str()))
}

impl Desk {
    /// Begins to ask for a file, in the job's folder.
    pub(crate) fn ask_file(&mut self, wish: FileWish) {
        let path = self.job.as_ref().map(|job| job.document.path());
        if wish != FileWish::Open && path.is_none() {
            return;
        }
        let folder = path.and_then(Path::parent).unwrap_or(Path::new(""));
        let folder = std::path::absolute(if folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            folder
        });
        let name = match wish {
            FileWish::Open | FileWish::Layer => String::new(),
            FileWish::SaveAs => path
                .and_then(Path::file_name)
                .map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
        };
        let folder = folder.unwrap_or_else(|_| PathBuf::from("."));
        self.file_sheet = Some(FileSheet::new(wish, folder, name));
    }

    pub(super) fn file_window(&mut self, ctx: &Context) {
        let Some(mut sheet) = self.file_sheet.take() else {
            return;
        };
        let title = match sheet.wish {
            FileWish::Open => "Open a job or a sculpt",
            FileWish::SaveAs => "Save the job as",
            FileWish::Layer => "Add a layer",
        };
        let (mut stays, mut taken) = (true, false);
        Window::new(title)
            .collapsible(false)
            .default_width(420.0)
            .show(ctx, |ui| {
                ui.label(sheet.folder.display().to_string());
                browse(ui, &mut sheet);
                ui.horizontal(|ui| {
                    let label = ui.label("File");
                    let field = ui.text_edit_singleline(&mut sheet.name);
                    let field = field.labelled_by(label.id);
                    taken |= field.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
                });
                if let Some(trouble) = &sheet.trouble {
                    ui.colored_label(ui.visuals().error_fg_color, trouble);
                }
                ui.horizontal(|ui| {
                    let word = match sheet.wish {
                        FileWish::Open => "Open it",
                        FileWish::SaveAs => "Write it",
                        FileWish::Layer => "Add it",
                    };
                    let can = sheet.chosen().is_some();
                    taken |= ui.add_enabled(can, egui::Button::new(word)).clicked();
                    stays = !ui.button("Leave it").clicked();
                });
            });
        stays &= !ctx.input(|i| i.key_pressed(egui::Key::Escape));
        match sheet.chosen().filter(|_| taken) {
            Some(path) if path.is_dir() => sheet.go(path),
            Some(path) if sheet.wish != FileWish::SaveAs => {
                if path.is_file() {
                    match sheet.wish {
                        FileWish::Layer => self.add_layer(&path),
                        FileWish::Open | FileWish::SaveAs => self.open_file(&path),
                    }
                    return;
                }
                sheet.trouble = Some(format!("'{}' isn't there.", path.display()));
            }
            Some(path) => {
                let own = self.job.as_ref().is_some_and(|j| j.document.path() == path);
                if path.exists() && !own {
                    let trouble = "'{}' is there already. Give another name.";
                    sheet.trouble = Some(trouble.replace("{}", &path.display().to_string()));
                } else {
                    self.save_as(&path);
                    return;
                }
            }
            None => {}
        }
        self.file_sheet = stays.then_some(sheet);
    }
}

/// The folder's content; a click on a folder goes there, one on a file takes its name.
fn browse(ui: &mut Ui, sheet: &mut FileSheet) {
    let mut to = None;
    ScrollArea::vertical().max_height(260.0).show(ui, |ui| {
        ui.set_min_width(380.0);
        if let Some(above) = sheet.folder.parent()
            && ui.button("One folder up").clicked()
        {
            to = Some(above.to_owned());
        }
        for folder in &sheet.folders {
            if ui.button(format!("{folder}/")).clicked() {
                to = Some(sheet.folder.join(folder));
            }
        }
        for file in &sheet.files {
            let button = egui::Button::selectable(sheet.name == *file, file);
            if ui.add(button).clicked() {
                sheet.name.clone_from(file);
            }
        }
    });
    if let Some(folder) = to {
        sheet.go(folder);
    }
}
