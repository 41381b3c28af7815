//! Part files: laid out, verified, shown and drawn, as `coldboard part --verify` does.

use super::language::{layout, open, rendered};
use coldboard::diagnostic::any_error;
use coldboard::export::package_svg;
use coldboard::export::part_page::review::review;
use coldboard::export::part_page::{Page, text};
use coldboard::language::ast::Item;
use coldboard::part::Part;
use coldboard::project::Project;
use std::sync::Arc;

fn parts(project: &Project) -> Vec<Arc<Part>> {
    let items = project.files().iter().take(1).flat_map(|tree| &tree.items);
    let names = items.filter_map(|item| match item {
        Item::Part(part) => Some(part.name.node.as_str()),
        _ => None,
    });
    let parts = names.filter_map(|name| project.library().part(name));
    parts.take(3).collect()
}

pub(crate) fn one(input: &[u8]) {
    layout(input);
    let project = open("x.part", input);
    rendered(project.sources(), project.diagnostics());
    for part in parts(&project) {
        rendered(project.sources(), &review(project.sources(), &part));
        package_svg::picture(&part);
        let page = Page::new(project.library(), part, None);
        text(&page, 60);
        text(&page, 110);
        let _: serde_json::Value = serde_json::from_str(&page.json()).expect("JSON");
    }
}

/// A seed describes a part, a family or a grade without errors.
pub(crate) fn accepted(input: &[u8]) {
    let project = open("x.part", input);
    let problems = project.diagnostics();
    assert!(!any_error(problems), "{problems:?}");
    for part in parts(&project) {
        let found = review(project.sources(), &part);
        assert!(!any_error(&found), "{found:?}");
    }
}
