//! The facade: a design as it was opened, and the circuits that were made from it.
//!
//! [`Project::open`] reads a design file with all that it uses, takes the parts that it describes into the library,
//! computes what its memories hold, and reads the images that its trials load. From then on nothing is read any more.

mod read;

use crate::circuit::{Circuit, freeze_after};
use crate::contents::{self, Contents};
use crate::diagnostic::{self, Diagnostic, did_you_mean};
use crate::image::Image;
use crate::language::ast::{self, Item, Word};
use crate::model::{self, Changes, Elaborated, Model};
use crate::part::Library;
use crate::text::{Files, Sources, Span, Spanned};
use read::{Images, Reader, beside};
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

/// An opened design.
#[derive(Clone, Debug)]
pub struct Project {
    library: Library,
    files: Vec<ast::File>,
    trials: Vec<ast::Trial>,
    images: Images,
    contents: Contents,
    diagnostics: Vec<Diagnostic>,
    /// The models of all boards and assemblies, and of the one that is meant without a name.
    models: BTreeMap<Option<String>, OnceLock<Elaborated>>,
    circuits: BTreeMap<Option<String>, Made>,
    paths: BTreeSet<PathBuf>,
}

/// A circuit, if there is one, and what its making had to say.
pub type Made = (Option<Arc<Circuit>>, Vec<Diagnostic>);

impl Project {
    /// Reads a design file, the files that it uses, and the images that its trials load. Parts and families of the
    /// design stand in for those of the library. [`Project::diagnostics`] tells all that is wrong.
    pub fn open(files: &dyn Files, path: &Path, library: Library) -> Project {
        let mut reader = Reader::new(files, library);
        reader.design(path);
        let mut trials = Vec::new();
        let mut procedures = Vec::new();
        for item in reader.trees.iter().flat_map(|tree| &tree.items) {
            match item {
                Item::Trial(trial) => trials.push(trial.clone()),
                Item::Procedure(procedure) => procedures.push(procedure.clone()),
                _ => {}
            }
        }
        let procedures: Arc<[ast::Procedure]> = procedures.into();
        trials.iter_mut().for_each(|trial| trial.procedures = procedures.clone());
        let images = reader.images(&trials);
        let (contents, mut unreadable) =
            contents::read(&reader.trees, &|file| image_of(&images, reader.library.sources(), file));
        let Reader { mut library, trees, problems: mut diagnostics, mut paths, .. } = reader;
        paths.extend(images.keys().cloned());
        trees.iter().for_each(|tree| library.add(tree));
        diagnostics.extend(library.problems());
        // What could not be read would only be missed a second time.
        if !diagnostic::any_error(&diagnostics) {
            diagnostics.append(&mut unreadable);
        }
        // What stands in a file that could not be read is missing only because of that.
        let complete = !diagnostic::any_error(&diagnostics);
        diagnostics.extend(names_twice(&trees));
        if complete {
            diagnostics.extend(trials_on_nothing(&trees, &trials));
        }
        diagnostic::sort(&mut diagnostics);
        let names = trees.iter().flat_map(|tree| &tree.items).filter_map(design);
        let names = names.map(|name| Some(name.node.clone())).chain([None]);
        let models = names.map(|name| (name, OnceLock::new()));
        Project {
            models: models.collect(),
            library,
            files: trees,
            trials,
            images,
            contents,
            diagnostics,
            circuits: BTreeMap::new(),
            paths,
        }
    }

    /// What is wrong with the texts; circuits and images have diagnostics of their own.
    pub fn diagnostics(&self) -> &[Diagnostic] {
        &self.diagnostics
    }

    /// All texts, for messages.
    pub fn sources(&self) -> &Sources {
        self.library.sources()
    }

    /// The library with the design's own parts.
    pub fn library(&self) -> &Library {
        &self.library
    }

    /// The syntax trees of the design, the opened file first.
    pub fn files(&self) -> &[ast::File] {
        &self.files
    }

    /// Every file that the design is made of, images among them.
    pub fn paths(&self) -> impl Iterator<Item = &Path> {
        self.paths.iter().map(PathBuf::as_path)
    }

    /// The trials of all files, in order of writing.
    pub fn trials(&self) -> &[ast::Trial] {
        &self.trials
    }

    /// The trial of a name.
    ///
    /// # Errors
    /// A sentence for a person that offers the trials that there are.
    pub fn trial_named(&self, name: &str) -> Result<&ast::Trial, String> {
        let names = || self.trials.iter().map(|trial| trial.name.node.as_str());
        let mut trials = self.trials.iter();
        trials.find(|trial| trial.name.node == name).ok_or_else(|| {
            let there: Vec<&str> = names().collect();
            let help = did_you_mean(name, names()).unwrap_or_else(|| match there.as_slice() {
                [] => "write it: `trial NAME on BOARD { ... }`".to_owned(),
                some => format!("it has: {}", some.join(", ")),
            });
            format!("the design has no trial `{name}`; {help}")
        })
    }

    /// The circuit of a board or assembly, made when it is first asked for. Without a name it is the only assembly, or
    /// else the only board.
    pub fn circuit(&mut self, name: Option<&str>) -> Made {
        let key = name.map(str::to_owned);
        if let Some(made) = self.circuits.get(&key) {
            return made.clone();
        }
        let made = self.changed(name, &Changes::default());
        self.circuits.insert(key, made.clone());
        made
    }

    /// What the memories of the design can hold.
    pub fn contents(&self) -> &Contents {
        &self.contents
    }

    /// The circuit of a board or assembly with supplies, oscillators or chips that are otherwise than the design says;
    /// made anew each time from its model, which is elaborated once.
    pub fn changed(&self, name: Option<&str>, changes: &Changes) -> Made {
        let elaborated = self.elaborated(name);
        let mut problems = elaborated.problems.clone();
        let Some(model) = &elaborated.model else {
            return (None, problems.finish());
        };
        let mut model = model.clone();
        if !changes.is_empty() {
            let edited = Arc::make_mut(&mut model);
            let refused = changes.apply(edited, &self.library);
            refused.into_iter().for_each(|problem| problems.unclear(problem));
        }
        let circuit = freeze_after(&model, &mut problems);
        let circuit = (!problems.is_unclear()).then(|| Arc::new(circuit));
        (circuit, problems.finish())
    }

    /// The model of a board or assembly, to be edited and frozen; `None` when it is not clear what the design is.
    pub fn model(&self, name: Option<&str>) -> Option<Arc<Model>> {
        let elaborated = self.elaborated(name);
        let model = elaborated.model.clone();
        model.filter(|_| !elaborated.problems.is_unclear())
    }

    fn elaborated(&self, name: Option<&str>) -> Cow<'_, Elaborated> {
        let make = || model::elaborate(name, &self.files, &self.library, &self.contents);
        match self.models.get(&name.map(str::to_owned)) {
            Some(made) => Cow::Borrowed(made.get_or_init(make)),
            None => Cow::Owned(make()),
        }
    }

    /// Every image that was read, in order of the paths.
    pub fn images(&self) -> impl Iterator<Item = &Image> {
        self.images.values().filter_map(|image| image.as_ref().ok())
    }

    /// The image that a trial names.
    ///
    /// # Errors
    /// What is wrong with the file, or that it is not there.
    pub fn image(&self, file: &Spanned<String>) -> Result<Image, Vec<Diagnostic>> {
        image_of(&self.images, self.sources(), file)
    }
}

/// An image that was read, with the place that names it in every fault.
fn image_of(images: &Images, sources: &Sources, file: &Spanned<String>) -> Result<Image, Vec<Diagnostic>> {
    let path = beside(sources, file);
    let image = images.get(&path).cloned().unwrap_or_else(|| {
        let message = format!("nothing takes in {}", path.display());
        Err(vec![Diagnostic::error("unreadable", message)])
    });
    image.map_err(|problems| {
        let here = |mut problem: Diagnostic| {
            problem.labels.insert(0, label(file.span));
            problem
        };
        problems.into_iter().map(here).collect()
    })
}

fn label(span: Span) -> diagnostic::Label {
    diagnostic::Label { span, text: "this file".to_owned() }
}

/// Things of one kind that have the same name.
fn names_twice(trees: &[ast::File]) -> Vec<Diagnostic> {
    let mut seen: BTreeMap<(&str, &str), Span> = BTreeMap::new();
    let mut found = Vec::new();
    for item in trees.iter().flat_map(|tree| &tree.items) {
        let (kind, name): (&str, &Word) = match item {
            Item::Use(_) => continue,
            Item::Part(part) => ("parts", &part.name),
            Item::Family(family) => ("families", &family.name),
            // A trial names either, so they share their names.
            Item::Board(board) => ("boards or assemblies", &board.name),
            Item::Assembly(assembly) => ("boards or assemblies", &assembly.name),
            Item::Trial(trial) => ("trials", &trial.name),
            Item::Procedure(procedure) => ("procedures", &procedure.name),
            // Values are read by either.
            Item::Names(list) => ("names or instructions", &list.name),
            Item::Instructions(set) => ("names or instructions", &set.name),
            // A memory holds either.
            Item::Program(program) => ("contents or programs", &program.name),
            Item::Contents(contents) => ("contents or programs", &contents.name),
        };
        match seen.get(&(kind, name.node.as_str())) {
            None => {
                seen.insert((kind, &name.node), name.span);
            }
            Some(first) => found.push(
                Diagnostic::error("name-twice", format!("two {kind} are called {}", name.node))
                    .at(name.span, "the second one")
                    .at(*first, "the first one")
                    .help("rename one of them"),
            ),
        }
    }
    found
}

/// The name of a board or assembly.
fn design(item: &Item) -> Option<&Word> {
    match item {
        Item::Board(board) => Some(&board.name),
        Item::Assembly(assembly) => Some(&assembly.name),
        _ => None,
    }
}

/// Trials on a board or assembly that is not there.
fn trials_on_nothing(trees: &[ast::File], trials: &[ast::Trial]) -> Vec<Diagnostic> {
    let designs = trees.iter().flat_map(|tree| &tree.items).filter_map(design);
    let names: Vec<&str> = designs.map(|name| name.node.as_str()).collect();
    let lost = trials.iter().filter(|trial| !names.contains(&trial.on.node.as_str()));
    lost.map(|trial| {
        let on = &trial.on.node;
        let message = format!("there is no board or assembly {on} for the trial {}", trial.name.node);
        let help = did_you_mean(on, names.iter().copied())
            .unwrap_or_else(|| format!("describe it: `board {on} {{ ... }}`, or `use` its file"));
        Diagnostic::error("unknown-design", message).at(trial.on.span, "not in the design").help(help)
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::MemoryFiles;

    fn open(files: &MemoryFiles) -> Project {
        Project::open(files, Path::new("work/top.board"), Library::built_in())
    }

    /// Code, message and places of each diagnostic.
    fn told(project: &Project, diagnostics: &[Diagnostic]) -> Vec<String> {
        let line = |problem: &Diagnostic| {
            let places = problem.labels.iter().map(|label| project.sources().place(label.span));
            let places: Vec<String> = places.collect();
            format!("{}: {} @ {}", problem.code, problem.message, places.join(" "))
        };
        diagnostics.iter().map(line).collect()
    }

    const INVERTER: &str = "part own { package DIP8 { 1 A in 2 Y out 8 VCC power 4 GND ground } Y = not A }";

    #[test]
    fn files_are_read_once_and_from_the_folder_of_the_one_that_uses_them() {
        let files = MemoryFiles::default()
            .with("work/top.board", "use \"sub/a.board\"  use \"parts/own.part\"  assembly top { A: a }")
            .with("work/sub/a.board", "use \"../top.board\" use \"./../parts/own.part\" board a { U1 own { A = x } }")
            .with("work/parts/own.part", INVERTER);
        let mut project = open(&files);
        assert_eq!(told(&project, project.diagnostics()), Vec::<String>::new());
        assert_eq!(project.files().len(), 3);
        let (circuit, problems) = project.circuit(None);
        assert!(problems.is_empty(), "{problems:?}");
        let first = circuit.expect("a circuit");
        assert!(first.net("A.U1.A").is_some());
        let (second, _) = project.circuit(None);
        assert!(Arc::ptr_eq(&first, &second.expect("a circuit")));
    }

    #[test]
    fn missing_and_damaged_files_are_told_at_their_use() {
        let files = MemoryFiles::default()
            .with("work/top.board", "use \"gone.board\"\nuse \"bytes.board\"\nboard b { }")
            .with("work/bytes.board", vec![b'#', 0xFF]);
        let project = open(&files);
        assert_eq!(
            told(&project, project.diagnostics()),
            [
                "unreadable: there is no file work/gone.board @ work/top.board:1:5",
                "unreadable: work/bytes.board is not a text: byte 1 is not UTF-8 @ work/top.board:2:5",
            ]
        );
        let none = Project::open(&MemoryFiles::default(), Path::new("x.board"), Library::built_in());
        assert_eq!(told(&none, none.diagnostics()), ["unreadable: there is no file x.board @ "]);
    }

    #[test]
    fn a_part_of_the_design_stands_in_for_the_library() {
        let text = INVERTER.replace("own", "574") + " board b { U1 574 { A = x } }";
        let mut project = open(&MemoryFiles::default().with("work/top.board", text));
        assert_eq!(
            told(&project, project.diagnostics()),
            ["hidden-part: this part stands in for the `574` of library/registers/574.part @ work/top.board:1:6"]
        );
        let circuit = project.circuit(Some("b")).0.expect("a circuit");
        assert_eq!(circuit.chips.values().next().expect("a chip").part.pins.len(), 4);
    }

    #[test]
    fn names_are_there_once_and_trials_have_something_to_run_on() {
        let text = "board a { }\nassembly a { A: a }\ntrial t on aa { }\ntrial t on zz { }\n";
        let project = open(&MemoryFiles::default().with("work/top.board", text));
        assert_eq!(
            told(&project, project.diagnostics()),
            [
                "name-twice: two boards or assemblies are called a @ work/top.board:2:10 work/top.board:1:7",
                "unknown-design: there is no board or assembly aa for the trial t @ work/top.board:3:12",
                "name-twice: two trials are called t @ work/top.board:4:7 work/top.board:3:7",
                "unknown-design: there is no board or assembly zz for the trial t @ work/top.board:4:12",
            ]
        );
        assert_eq!(project.trials().len(), 2);
    }

    #[test]
    fn images_stand_beside_the_file_of_their_trial() {
        let trial = "board b { }\ntrial t on b { load U1 from \"rom/a.bin\"\nload U1 from \"bad.hex\"\nload U1 from \"gone.hex\" }";
        let files = MemoryFiles::default()
            .with("work/top.board", trial)
            .with("work/rom/a.bin", vec![1, 2, 3])
            .with("work/bad.hex", ":00");
        let project = open(&files);
        assert!(project.diagnostics().is_empty());
        let loads: Vec<Spanned<String>> = project.trials()[0]
            .body
            .iter()
            .filter_map(|statement| match &statement.node {
                ast::TrialStatement::Load { file, .. } => Some(file.clone()),
                _ => None,
            })
            .collect();
        assert_eq!(project.image(&loads[0]).expect("an image").get(2), Some(3));
        let bad = project.image(&loads[1]).expect_err("damaged");
        assert!(bad[0].message.starts_with("work/bad.hex:1:"), "{}", bad[0].message);
        let gone = project.image(&loads[2]).expect_err("not there");
        assert_eq!(told(&project, &gone), ["unreadable: there is no file work/gone.hex @ work/top.board:4:14"]);
    }
}
