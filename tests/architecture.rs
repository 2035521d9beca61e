//! The shape of the code, held by parsing it: who may import whom, what stays out of the inner rings, how long things
//! may get. The checker itself is tested on small sources that break each rule.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

use proc_macro2::{TokenStream, TokenTree};
use syn::{spanned::Spanned, visit::Visit};

/// Modules and what each may import besides itself. A row with a second level, like `wire::topic`, allows that alone.
const IMPORTS: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("physics", &["units"]),
    ("model", &["units", "physics"]),
    ("advice", &["units", "physics", "model"]),
    ("engine", &["units", "physics", "model", "advice"]),
    ("view", &["units", "physics", "model", "advice", "engine"]),
    ("wire", &["units", "model", "advice", "engine"]),
    ("config", &["units", "model", "advice", "wire::topic", "wire::decode", "wire::weather"]),
    ("io", &["units", "model", "engine", "wire", "view", "config"]),
    // A simulation that shared the model's equations would prove nothing.
    ("demo", &["units", "physics", "io::clock"]),
    ("app", &["units", "physics", "model", "advice", "engine", "view", "wire", "config", "io"]),
    ("cli", &["units", "physics", "model", "advice", "engine", "view", "wire", "config", "io", "demo", "app"]),
    ("main", &["cli", "app", "io"]),
];

/// Modules that own the runtime, sockets, files and the clock. All others are pure or translate.
const SHELL: &[&str] = &["io", "demo", "app", "cli", "main"];

/// What a pure or translating module may not name, outside its tests.
const SHELL_ONLY: &[&str] = &[
    "tokio",
    "axum",
    "reqwest",
    "rumqttc",
    "rumqttd",
    "rustix",
    "rustls",
    "tracing",
    "std::fs",
    "std::env",
    "std::process",
    "std::thread",
    "std::net",
    "std::os",
];

/// Addresses are values; only sockets are not.
const ADDRESS_TYPES: &[&str] = &["SocketAddr", "SocketAddrV4", "SocketAddrV6", "IpAddr", "Ipv4Addr", "Ipv6Addr"];

/// Calls that read a clock, as the last two segments of a path. Only `io/clock.rs` may.
const CLOCKS: &[[&str; 2]] =
    &[["Instant", "now"], ["SystemTime", "now"], ["Timestamp", "now"], ["Zoned", "now"], ["time", "clock_gettime"]];

const LONGEST_FILE: usize = 600;
const LONGEST_FUNCTION: usize = 80;
const LONGEST_MAIN: usize = 50;
const MOST_ARGUMENTS: usize = 5;

/// A path named somewhere in a file.
struct Named {
    segments: Vec<String>,
    line: usize,
    in_tests: bool,
}

/// Everything the rules look at, gathered in one walk through a file.
#[derive(Default)]
struct Walk {
    named: Vec<Named>,
    problems: Vec<(usize, String)>,
    module: Vec<String>,
    test_depth: usize,
    tests_start: Option<usize>,
}

impl Walk {
    fn problem(&mut self, line: usize, what: impl Into<String>) {
        self.problems.push((line, what.into()));
    }

    /// Turns `self::` and `super::` into a path from the crate's root, and notes it.
    fn name(&mut self, mut segments: Vec<String>, line: usize) {
        let mut base = self.module.clone();
        let relative = segments.first().is_some_and(|first| first == "self" || first == "super");
        while let Some(first) = segments.first() {
            match first.as_str() {
                "self" => {}
                "super" => {
                    base.pop();
                }
                _ => break,
            }
            segments.remove(0);
        }
        if relative {
            segments.splice(0..0, std::iter::once("crate".to_owned()).chain(base));
        }
        // The binary knows the library by its name.
        if segments.first().is_some_and(|first| first == "mistwright") {
            segments[0] = "crate".to_owned();
        }
        self.named.push(Named { segments, line, in_tests: self.test_depth > 0 });
    }

    fn use_tree(&mut self, prefix: &[String], tree: &syn::UseTree) {
        let mut path = prefix.to_vec();
        match tree {
            syn::UseTree::Path(inner) => {
                path.push(inner.ident.to_string());
                self.use_tree(&path, &inner.tree);
            }
            syn::UseTree::Group(group) => group.items.iter().for_each(|item| self.use_tree(prefix, item)),
            syn::UseTree::Name(name) => {
                path.push(name.ident.to_string());
                self.name(path, name.span().start().line);
            }
            syn::UseTree::Rename(rename) => {
                path.push(rename.ident.to_string());
                self.name(path, rename.span().start().line);
            }
            syn::UseTree::Glob(glob) => self.name(path, glob.span().start().line),
        }
    }

    /// Macros are not parsed further: paths and `.unwrap(` are found among their tokens.
    fn tokens(&mut self, tokens: TokenStream) {
        let trees: Vec<TokenTree> = tokens.into_iter().collect();
        let is_colon =
            |tree: Option<&TokenTree>| matches!(tree, Some(TokenTree::Punct(punct)) if punct.as_char() == ':');
        let mut at = 0;
        while at < trees.len() {
            match &trees[at] {
                TokenTree::Group(group) => self.tokens(group.stream()),
                TokenTree::Ident(first) => {
                    let after_dot =
                        at > 0 && matches!(&trees[at - 1], TokenTree::Punct(punct) if punct.as_char() == '.');
                    if after_dot && first == "unwrap" {
                        self.unwrap(first.span().start().line);
                    }
                    let mut segments = vec![first.to_string()];
                    while is_colon(trees.get(at + 1)) && is_colon(trees.get(at + 2)) {
                        let Some(TokenTree::Ident(next)) = trees.get(at + 3) else { break };
                        segments.push(next.to_string());
                        at += 3;
                    }
                    if segments.len() > 1 {
                        self.name(segments, first.span().start().line);
                    }
                }
                TokenTree::Punct(_) | TokenTree::Literal(_) => {}
            }
            at += 1;
        }
    }

    fn unwrap(&mut self, line: usize) {
        if self.test_depth == 0 {
            self.problem(line, "unwrap outside tests");
        }
    }

    fn function(&mut self, signature: &syn::Signature, block: &syn::Block) {
        let first = signature.span().start().line;
        let lines = block.span().end().line + 1 - first;
        if lines > LONGEST_FUNCTION {
            self.problem(first, format!("`{}` has {lines} lines, over {LONGEST_FUNCTION}", signature.ident));
        }
        let arguments = signature.inputs.iter().filter(|input| matches!(input, syn::FnArg::Typed(_))).count();
        if arguments > MOST_ARGUMENTS {
            self.problem(first, format!("`{}` takes {arguments} arguments, over {MOST_ARGUMENTS}", signature.ident));
        }
    }
}

fn is_for_tests(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("test")
            || attribute.path().is_ident("cfg")
                && attribute.parse_args::<syn::Path>().is_ok_and(|condition| condition.is_ident("test"))
    })
}

impl<'ast> Visit<'ast> for Walk {
    fn visit_item_mod(&mut self, item: &'ast syn::ItemMod) {
        let for_tests = is_for_tests(&item.attrs);
        if for_tests {
            let first = item.attrs.first().map_or(item.span(), Spanned::span).start().line;
            self.tests_start = Some(self.tests_start.map_or(first, |earlier| earlier.min(first)));
        }
        self.test_depth += usize::from(for_tests);
        self.module.push(item.ident.to_string());
        syn::visit::visit_item_mod(self, item);
        self.module.pop();
        self.test_depth -= usize::from(for_tests);
    }

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        let for_tests = is_for_tests(&item.attrs);
        self.function(&item.sig, &item.block);
        self.test_depth += usize::from(for_tests);
        syn::visit::visit_item_fn(self, item);
        self.test_depth -= usize::from(for_tests);
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        self.function(&item.sig, &item.block);
        syn::visit::visit_impl_item_fn(self, item);
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        self.use_tree(&[], &item.tree);
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let segments = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        self.name(segments, path.span().start().line);
        syn::visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, item: &'ast syn::Macro) {
        self.visit_path(&item.path);
        self.tokens(item.tokens.clone());
    }

    fn visit_expr_method_call(&mut self, call: &'ast syn::ExprMethodCall) {
        if call.method == "unwrap" {
            self.unwrap(call.method.span().start().line);
        }
        syn::visit::visit_expr_method_call(self, call);
    }

    fn visit_return_type(&mut self, output: &'ast syn::ReturnType) {
        if let syn::ReturnType::Type(_, kind) = output
            && let syn::Type::Path(path) = kind.as_ref()
            && let Some(last) = path.path.segments.last()
            && last.ident == "Result"
            && let syn::PathArguments::AngleBracketed(arguments) = &last.arguments
            && let Some(syn::GenericArgument::Type(syn::Type::Path(error))) = arguments.args.iter().nth(1)
            && error.path.segments.last().is_some_and(|segment| segment.ident == "String")
        {
            self.problem(output.span().start().line, "an error is a bare `String`");
        }
        syn::visit::visit_return_type(self, output);
    }
}

/// The crate's module path of a file under `src`.
fn module_path(file: &str) -> Vec<String> {
    let stem = file.trim_end_matches(".rs");
    let mut path: Vec<String> = stem.split('/').map(str::to_owned).collect();
    if path.last().is_some_and(|last| last == "mod" || last == "lib") {
        path.pop();
    }
    path
}

/// Whether a module may import the path, which starts behind `crate`.
fn may_import(module: &[String], target: &[String]) -> bool {
    let (Some(own), Some(theirs)) = (module.first(), target.first()) else { return true };
    if own == theirs {
        // Files of the edge stay apart, so that each can be read and replaced alone.
        let (Some(file), Some(other)) = (module.get(1), target.get(1)) else { return true };
        return own != "io"
            || file == other
            || ["clock", "backoff", "secret"].contains(&other.as_str())
            || starts_upper(other);
    }
    let Some((_, allowed)) = IMPORTS.iter().find(|(name, _)| name == own) else { return false };
    allowed.iter().any(|entry| {
        let mut segments = entry.split("::");
        segments.next() == Some(theirs.as_str())
            && segments.next().is_none_or(|second| target.get(1).is_some_and(|name| name == second))
    })
}

/// Types, constants and their like; modules and functions start in lower case.
fn starts_upper(name: &str) -> bool {
    name.starts_with(char::is_uppercase)
}

fn is_shell_only(segments: &[String]) -> bool {
    let joined = segments.join("::");
    let banned = SHELL_ONLY
        .iter()
        .any(|ban| joined == *ban || joined.strip_prefix(ban).is_some_and(|rest| rest.starts_with("::")));
    let address =
        joined.starts_with("std::net::") && segments.get(2).is_some_and(|n| ADDRESS_TYPES.contains(&n.as_str()));
    banned && !address
}

/// Every broken rule in one source file; `file` is its path under `src`.
fn problems(file: &str, text: &str) -> Vec<String> {
    let parsed = match syn::parse_file(text) {
        Ok(parsed) => parsed,
        Err(error) => return vec![format!("{file}: does not parse: {error}")],
    };
    let module = module_path(file);
    let mut walk = Walk { module: module.clone(), ..Walk::default() };
    walk.visit_file(&parsed);
    for attribute in &parsed.attrs {
        if attribute.path().is_ident("allow") {
            walk.problem(attribute.span().start().line, "an `allow` for a whole file");
        }
    }
    for named in std::mem::take(&mut walk.named) {
        let written = named.segments.join("::");
        if named.segments.first().is_some_and(|first| first == "crate") && !module.is_empty() {
            // `crate::quantity!` and other root names are written without a module: one segment, nothing to hold.
            let target = &named.segments[1..];
            if IMPORTS.iter().any(|(name, _)| target.first().is_some_and(|first| first == name))
                && !may_import(&module, target)
            {
                walk.problem(named.line, format!("`{}` may not import `{written}`", module.join("::")));
            }
        }
        let shell = module.first().is_some_and(|own| SHELL.contains(&own.as_str()));
        if !shell && !named.in_tests && is_shell_only(&named.segments) {
            walk.problem(named.line, format!("`{written}` belongs to the shell"));
        }
        if file != "io/clock.rs" && CLOCKS.iter().any(|clock| named.segments.ends_with(&clock.map(str::to_owned))) {
            walk.problem(named.line, format!("`{written}` reads a clock outside io/clock.rs"));
        }
    }
    let lines = walk.tests_start.map_or(text.lines().count(), |line| line - 1);
    let longest = if file == "main.rs" { LONGEST_MAIN } else { LONGEST_FILE };
    if lines > longest {
        walk.problem(lines, format!("{lines} lines before the tests, over {longest}"));
    }
    walk.problems.iter().map(|(line, what)| format!("src/{file}:{line}: {what}")).collect()
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every Rust file below a folder, by its path from there.
fn sources(folder: &Path) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let name = path.strip_prefix(folder).unwrap().to_str().unwrap().to_owned();
                found.insert(name, fs::read_to_string(&path).unwrap());
            }
        }
    }
    found
}

#[test]
fn every_source_file_keeps_the_rules() {
    let sources = sources(&root().join("src"));
    assert!(sources.len() > 20, "only {} source files were found", sources.len());
    let broken: Vec<String> = sources.iter().flat_map(|(file, text)| problems(file, text)).collect();
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn no_function_in_the_tests_is_too_long_either() {
    let mut broken = Vec::new();
    for (file, text) in sources(&root().join("tests")) {
        let mut walk = Walk::default();
        walk.visit_file(&syn::parse_file(&text).unwrap());
        broken.extend(
            walk.problems
                .iter()
                .filter(|(_, what)| what.contains(" lines, over"))
                .map(|(line, what)| format!("tests/{file}:{line}: {what}")),
        );
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn every_module_has_its_row_in_the_import_table() {
    let rows: BTreeSet<&str> = IMPORTS.iter().map(|(name, _)| *name).collect();
    for file in sources(&root().join("src")).keys() {
        let module = module_path(file);
        let Some(first) = module.first() else { continue };
        assert!(rows.contains(first.as_str()), "src/{file} belongs to no row of the import table");
    }
}

#[test]
fn the_top_level_holds_nothing_unexpected() {
    const EXPECTED: &[&str] = &[
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "src",
        "deploy",
        "tests",
        "examples",
        "target",
    ];
    // The unit file and packaging come with the installation; everything else is there from the start.
    const NOT_YET: &[&str] = &["deploy", "target"];
    let found: BTreeSet<String> = fs::read_dir(root())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| !name.starts_with('.'))
        .collect();
    for name in &found {
        assert!(EXPECTED.contains(&name.as_str()), "`{name}` does not belong at the top level");
    }
    for name in EXPECTED.iter().filter(|name| !NOT_YET.contains(name)) {
        assert!(found.contains(*name), "`{name}` is missing at the top level");
    }
}

#[test]
fn unsafe_code_is_forbidden_in_the_library_and_in_the_whole_package() {
    let library = syn::parse_file(&fs::read_to_string(root().join("src/lib.rs")).unwrap()).unwrap();
    let forbidden = library.attrs.iter().any(|attribute| {
        attribute.path().is_ident("forbid")
            && attribute.parse_args::<syn::Path>().is_ok_and(|lint| lint.is_ident("unsafe_code"))
    });
    assert!(forbidden, "src/lib.rs does not forbid unsafe code");
    let manifest = fs::read_to_string(root().join("Cargo.toml")).unwrap();
    assert!(manifest.lines().any(|line| line.trim() == r#"unsafe_code = "forbid""#));
    assert!(library.items.iter().all(|item| matches!(item, syn::Item::Mod(_) | syn::Item::Use(_))), "lib.rs has logic");
}

/// File, source, and a part of the only problem that it has; `None` where it has none.
const SEEDED: &[(&str, &str, Option<&str>)] = &[
    ("physics/a.rs", "use crate::model::Now;", Some("may not import `crate::model::Now`")),
    ("physics/a.rs", "use crate::{units::{Mass, Volume}, engine};", Some("may not import `crate::engine`")),
    ("physics/a.rs", "use super::super::wire::topic;", Some("may not import `crate::wire::topic`")),
    ("physics/mod.rs", "fn f() { crate::io::clock::x() }", Some("may not import `crate::io::clock::x`")),
    ("units/a.rs", "macro_rules! m { () => { $crate::advice::Mode::Active } }", Some("may not import")),
    ("units/a.rs", "fn f() { println!(\"{}\", crate::view::page()) }", Some("may not import")),
    ("physics/a.rs", "use crate::units::*; use super::saturation::ice;", None),
    ("config/a.rs", "use crate::wire::topic::Topic;", None),
    ("config/a.rs", "use crate::wire::tree;", Some("may not import")),
    ("io/mqtt.rs", "use super::{clock::Clock, backoff};", None),
    ("io/mqtt.rs", "use super::weather::Fetcher;", Some("may not import `crate::io::weather::Fetcher`")),
    ("io/mqtt/session.rs", "use crate::io::mqtt::Client; use crate::advice::Mode;", Some("`crate::advice::Mode`")),
    ("demo/a.rs", "use crate::model::Room;", Some("may not import")),
    ("demo/a.rs", "use crate::{io::clock, physics};", None),
    ("demo/a.rs", "use crate::io::mqtt;", Some("may not import")),
    ("app.rs", "use crate::cli;", Some("may not import")),
    ("main.rs", "fn main() { mistwright::wire::tree() }", Some("may not import")),
    ("engine/a.rs", "fn f() { tokio::spawn(g()); }", Some("`tokio::spawn` belongs to the shell")),
    ("view/a.rs", "use std::{fs, net::SocketAddr};", Some("`std::fs` belongs to the shell")),
    ("wire/a.rs", "use std::net::TcpStream;", Some("`std::net::TcpStream` belongs to the shell")),
    ("wire/a.rs", "#[cfg(test)] mod tests { fn f() { std::fs::read(\"x\").unwrap(); } }", None),
    ("io/mqtt.rs", "fn f() { let t = std::time::Instant::now(); }", Some("reads a clock")),
    ("io/clock.rs", "fn f() { let t = std::time::Instant::now(); }", None),
    ("model/a.rs", "fn f() { Timestamp::now(); }", Some("reads a clock")),
    ("model/a.rs", "fn f() { g().unwrap(); }", Some("unwrap outside tests")),
    ("model/a.rs", "fn f() { assert!(g().unwrap()); }", Some("unwrap outside tests")),
    ("model/a.rs", "#[test] fn f() { g().unwrap(); }", None),
    ("model/a.rs", "#![allow(dead_code)]", Some("an `allow` for a whole file")),
    ("model/a.rs", "fn f() -> Result<u8, String> { g() }", Some("a bare `String`")),
    ("model/a.rs", "fn f(a: u8, b: u8, c: u8, d: u8, e: u8, g: u8) {}", Some("takes 6 arguments")),
    ("model/a.rs", "fn f(", Some("does not parse")),
];

#[test]
fn the_checker_finds_each_seeded_violation_and_nothing_else() {
    for (file, text, expected) in SEEDED {
        let found = problems(file, text);
        match expected {
            None => assert!(found.is_empty(), "{file}: `{text}` is fine, but: {found:?}"),
            Some(part) => {
                assert_eq!(found.len(), 1, "{file}: `{text}` breaks one rule, but: {found:?}");
                assert!(found[0].contains(part), "{file}: `{text}`: expected `{part}`, found `{}`", found[0]);
            }
        }
    }
}

#[test]
fn the_checker_measures_files_up_to_their_tests_and_functions_whole() {
    let lines = |count: usize| "\n".repeat(count);
    assert!(problems("model/a.rs", &format!("{}#[cfg(test)]\nmod tests {{{}}}", lines(600), lines(500))).is_empty());
    assert_eq!(problems("model/a.rs", &format!("{}#[cfg(test)]\nmod tests {{}}", lines(601))).len(), 1);
    assert_eq!(problems("main.rs", &lines(51)).len(), 1);
    assert!(problems("model/a.rs", &format!("fn f() {{{}}}", lines(79))).is_empty());
    assert_eq!(problems("model/a.rs", &format!("fn f() {{{}}}", lines(80))).len(), 1);
    assert_eq!(problems("model/a.rs", &format!("struct A; impl A {{ fn f() {{{}}} }}", lines(80))).len(), 1);
}
