//! A source file as the compiler sees it: what it imports, what it defines, how long its functions are. Tests are left
//! out: they may look anywhere.

use proc_macro2::{TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use syn::visit::{self, Visit};
use syn::{Attribute, Block, File, Item, UseTree, Visibility};

/// A path into the crate, its names from the root.
pub(crate) type Names = Vec<String>;

/// A place that names something of the crate.
pub(crate) struct Import {
    pub(crate) line: usize,
    pub(crate) names: Names,
}

/// A function, with all lines from `fn` to its last brace.
pub(crate) struct Function {
    pub(crate) name: String,
    pub(crate) line: usize,
    pub(crate) lines: usize,
}

#[derive(Default)]
pub(crate) struct Source {
    /// Names that are passed on with `pub use`, and private ones that the modules below may take from here.
    pub(crate) aliases: BTreeMap<String, Names>,
    pub(crate) defined: BTreeSet<String>,
    pub(crate) functions: Vec<Function>,
    /// Modules that are passed on whole (`pub use x::*`).
    pub(crate) globs: Vec<Names>,
    pub(crate) imports: Vec<Import>,
    /// Modules that only tests have.
    pub(crate) tests: Vec<Names>,
    /// The module that is being read; inline ones add to that of the file.
    module: Names,
    /// Modules below the file's.
    children: BTreeSet<String>,
}

impl Source {
    /// Reads the file of a module.
    pub(crate) fn read(module: &[&str], text: &str) -> syn::Result<Source> {
        let file: File = syn::parse_str(text)?;
        let mut source = Source { module: module.iter().map(|&name| name.to_owned()).collect(), ..Source::default() };
        for item in &file.items {
            if let Item::Mod(child) = item {
                source.children.insert(child.ident.to_string());
            }
            source.defined.extend(defined(item));
        }
        for item in &file.items {
            source.visit_item(item);
        }
        Ok(source)
    }

    /// The names of a path from the root of the crate; none for a path that leaves the crate.
    fn absolute(&self, names: &[String]) -> Option<Names> {
        let first = names.first()?.as_str();
        let up = names.iter().take_while(|name| *name == "super").count();
        let mut found = match first {
            "crate" => Vec::new(),
            "super" => self.module[..self.module.len().checked_sub(up)?].to_vec(),
            "self" => self.module.clone(),
            child if self.children.contains(child) => {
                let mut found = self.module.clone();
                found.push(child.to_owned());
                found
            }
            _ => return None,
        };
        found.extend_from_slice(&names[up.max(1)..]);
        Some(found)
    }

    fn import(&mut self, line: usize, names: &[String]) {
        if let Some(names) = self.absolute(names) {
            self.imports.push(Import { line, names });
        }
    }

    /// The names that a `use` takes, groups resolved; a glob takes `*`.
    fn leaves(tree: &UseTree, before: &[String], found: &mut Vec<(usize, Names, String)>) {
        let line_of = |name: &syn::Ident| name.span().start().line;
        let with = |name: String| [before, &[name]].concat();
        match tree {
            UseTree::Path(path) => Self::leaves(&path.tree, &with(path.ident.to_string()), found),
            UseTree::Name(name) if name.ident == "self" => {
                let last = before.last().cloned().unwrap_or_default();
                found.push((line_of(&name.ident), before.to_vec(), last));
            }
            UseTree::Name(name) => {
                let own = name.ident.to_string();
                found.push((line_of(&name.ident), with(own.clone()), own));
            }
            UseTree::Rename(name) => {
                let (own, alias) = (name.ident.to_string(), name.rename.to_string());
                found.push((line_of(&name.ident), with(own), alias));
            }
            UseTree::Glob(glob) => {
                let line = glob.star_token.spans[0].start().line;
                found.push((line, before.to_vec(), "*".to_owned()));
            }
            UseTree::Group(group) => {
                for tree in &group.items {
                    Self::leaves(tree, before, found);
                }
            }
        }
    }

    fn function(&mut self, name: String, from: usize, block: &Block) {
        let lines = block.brace_token.span.close().end().line - from + 1;
        self.functions.push(Function { name, line: from, lines });
    }

    /// Paths in what a macro is given.
    fn tokens(&mut self, tokens: TokenStream) {
        let mut names: Names = Vec::new();
        let mut colons = 0;
        for token in tokens.into_iter().map(Some).chain([None]) {
            match &token {
                Some(TokenTree::Punct(punct)) if punct.as_char() == ':' => {
                    colons += 1;
                    continue;
                }
                Some(TokenTree::Ident(name)) if colons == 2 && !names.is_empty() => {
                    names.push(name.to_string());
                    colons = 0;
                    continue;
                }
                _ => {}
            }
            if names.len() > 1 {
                let line = token.as_ref().map_or(0, |token| token.span().start().line);
                self.import(line, &names);
            }
            names.clear();
            colons = 0;
            match token {
                Some(TokenTree::Ident(name)) => names.push(name.to_string()),
                Some(TokenTree::Group(group)) => self.tokens(group.stream()),
                _ => {}
            }
        }
    }
}

impl Visit<'_> for Source {
    fn visit_item(&mut self, item: &Item) {
        if !only_tests(attributes(item)) {
            visit::visit_item(self, item);
        } else if let Item::Mod(module) = item {
            let name = module.ident.to_string();
            self.tests.push([&self.module[..], &[name]].concat());
        }
    }

    fn visit_item_mod(&mut self, module: &syn::ItemMod) {
        if let Some((_, items)) = &module.content {
            self.module.push(module.ident.to_string());
            for item in items {
                self.visit_item(item);
            }
            self.module.pop();
        }
    }

    fn visit_item_use(&mut self, item: &syn::ItemUse) {
        let mut leaves = Vec::new();
        Self::leaves(&item.tree, &[], &mut leaves);
        let private = matches!(item.vis, Visibility::Inherited);
        for (line, names, alias) in leaves {
            let Some(absolute) = self.absolute(&names) else {
                continue;
            };
            if alias != "*" {
                self.aliases.insert(alias, absolute);
            } else if !private {
                self.globs.push(absolute);
            }
            // What is only passed on is no use of it.
            if private {
                self.import(line, &names);
            }
        }
    }

    fn visit_path(&mut self, path: &syn::Path) {
        let names: Names = path.segments.iter().map(|s| s.ident.to_string()).collect();
        if let (Some(last), true) = (path.segments.last(), names.len() > 1) {
            self.import(last.ident.span().start().line, &names);
        }
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, called: &syn::Macro) {
        self.tokens(called.tokens.clone());
    }

    fn visit_visibility(&mut self, _: &Visibility) {}

    fn visit_item_fn(&mut self, item: &syn::ItemFn) {
        let (name, line) = (item.sig.ident.to_string(), item.sig.fn_token.span.start().line);
        self.function(name, line, &item.block);
        visit::visit_item_fn(self, item);
    }

    fn visit_impl_item_fn(&mut self, item: &syn::ImplItemFn) {
        if only_tests(&item.attrs) {
            return;
        }
        let (name, line) = (item.sig.ident.to_string(), item.sig.fn_token.span.start().line);
        self.function(name, line, &item.block);
        visit::visit_impl_item_fn(self, item);
    }
}

fn only_tests(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("test")
            || attribute.path().is_ident("cfg")
                && attribute.parse_args::<syn::Ident>().is_ok_and(|condition| condition == "test")
    })
}

fn attributes(item: &Item) -> &[Attribute] {
    match item {
        Item::Const(item) => &item.attrs,
        Item::Enum(item) => &item.attrs,
        Item::Fn(item) => &item.attrs,
        Item::Impl(item) => &item.attrs,
        Item::Mod(item) => &item.attrs,
        Item::Static(item) => &item.attrs,
        Item::Struct(item) => &item.attrs,
        Item::Trait(item) => &item.attrs,
        Item::Type(item) => &item.attrs,
        Item::Use(item) => &item.attrs,
        _ => &[],
    }
}

/// The name that an item gives to its module.
fn defined(item: &Item) -> Option<String> {
    let name = match item {
        Item::Const(item) => &item.ident,
        Item::Enum(item) => &item.ident,
        Item::Fn(item) => &item.sig.ident,
        Item::Static(item) => &item.ident,
        Item::Struct(item) => &item.ident,
        Item::Trait(item) => &item.ident,
        Item::Type(item) => &item.ident,
        _ => return None,
    };
    Some(name.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Paths as the reference of the language writes them: "Use declarations", "Paths".
    #[test]
    fn every_way_to_name_a_room_is_seen() {
        let text = r#"
            use crate::{alpha::One, beta::{self, two::*}};
            #[cfg(test)]
            use crate::hidden::Helper;
            pub use child::Passed;
            mod child;
            #[cfg(test)]
            mod tests { use crate::hidden::X; }
            // crate::hidden::X
            fn f() -> crate::gamma::Three {
                let _ = "crate::hidden::X";
                vec![super::delta::four(), crate::epsilon::five(1)]
            }
        "#;
        let source = Source::read(&["room", "file"], text).expect("Rust");
        let paths: Vec<String> = source.imports.iter().map(|i| i.names.join("::")).collect();
        let expected = ["alpha::One", "beta", "beta::two", "gamma::Three", "room::delta::four", "epsilon::five"];
        assert_eq!(paths, expected);
        assert_eq!(source.aliases["Passed"].join("::"), "room::file::child::Passed");
        assert_eq!(source.tests, [["room", "file", "tests"]]);
        let function = &source.functions[0];
        assert_eq!((function.line, function.lines), (10, 4));
    }
}
