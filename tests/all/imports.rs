//! Imports run one way: no circle between the rooms of the house, and none inside the ladder.
//!
//! A file's imports are its `use` lines and the paths in its code that begin with `crate`, `super` or
//! `self`. A name that a door re-exports counts for the file that defines it. A door and the files
//! behind it are one thing: what a file takes from the door above it is no import here.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::Path,
};

/// A module: its names from the crate down.
type Module = Vec<String>;

/// The modules between whose parts no circle may be: the house, and the ladder with all in it.
fn is_watched(module: &[String]) -> bool {
    module.first().is_none_or(|room| room == "ladder")
}

#[test]
fn imports_run_one_way() {
    let house = House::read();
    for (module, imports) in house.imports() {
        if !is_watched(&module) {
            continue;
        }
        let all: BTreeSet<_> = imports.keys().cloned().collect();
        let circle: Vec<String> = all
            .iter()
            .filter(|import| on_a_circle(&all, import))
            .map(|import| format!("{} -> {}: {}", import.0, import.1, imports[import]))
            .collect();
        assert!(circle.is_empty(), "circles in `{}`:\n{}", module.join("::"), circle.join("\n"));
    }
}

#[test]
fn a_circle_is_found() {
    let import = |from: &str, to: &str| (from.to_owned(), to.to_owned());
    let imports = BTreeSet::from([import("a", "b"), import("b", "c"), import("c", "b")]);
    assert!(on_a_circle(&imports, &import("b", "c")));
    assert!(!on_a_circle(&imports, &import("a", "b")));
}

#[test]
fn a_name_is_that_of_the_file_that_defines_it() {
    let house = House::of([
        ("a", "mod x;\npub use x::Thing;\nuse crate::b::{self, inner::{Other, Third as Named}};"),
        ("a::x", "use super::y::helper;\nfn f() { crate::b::inner::g(); }"),
        ("a::y", "use crate::a::Thing;\n#[cfg(test)]\nmod tests {\n    use crate::c::Hidden;\n}"),
        ("b", "pub mod inner;"),
        ("b::inner", "// use crate::c::Comment;"),
        ("c", ""),
    ]);
    let imports = house.imports();
    let of = |module: &[&str]| -> Vec<(String, String)> {
        let module: Module = module.iter().map(|name| (*name).to_owned()).collect();
        imports.get(&module).map(|all| all.keys().cloned().collect()).unwrap_or_default()
    };
    assert_eq!(of(&[]), [("a".to_owned(), "b".to_owned())]);
    let ways = [("x".to_owned(), "y".to_owned()), ("y".to_owned(), "x".to_owned())];
    assert_eq!(of(&["a"]), ways);
}

/// Whether an import leads back to where it starts.
fn on_a_circle(imports: &BTreeSet<(String, String)>, (from, to): &(String, String)) -> bool {
    let mut seen = BTreeSet::from([to]);
    let mut open = vec![to];
    while let Some(at) = open.pop() {
        if at == from {
            return true;
        }
        for (_, next) in imports.iter().filter(|(a, _)| a == at) {
            if seen.insert(next) {
                open.push(next);
            }
        }
    }
    false
}

/// Every module with what it takes from others.
struct House {
    texts: BTreeMap<Module, Text>,
}

/// What a file takes.
struct Text {
    /// Its `use` lines: the name each brings, and its path.
    names: BTreeMap<String, Vec<String>>,
    /// Every path that it names.
    paths: Vec<Vec<String>>,
}

impl House {
    fn read() -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        let mut files = Vec::new();
        gather(&root, &mut Vec::new(), &mut files);
        assert!(files.len() > 300, "the sources are elsewhere");
        Self::new(files)
    }

    fn of<const N: usize>(files: [(&str, &str); N]) -> Self {
        let module = |name: &str| name.split("::").map(str::to_owned).collect();
        Self::new(files.into_iter().map(|(name, text)| (module(name), text.to_owned())).collect())
    }

    fn new(files: Vec<(Module, String)>) -> Self {
        // Modules of tests alone may look at everything.
        let tests: Vec<Module> = files.iter().flat_map(|(m, text)| test_modules(m, text)).collect();
        let of_tests = |module: &Module| tests.iter().any(|test| module.starts_with(test));
        let files = files.into_iter().filter(|(module, _)| !of_tests(module));
        Self { texts: files.map(|(module, text)| (module, Text::of(&text))).collect() }
    }

    fn is_module(&self, module: &[String]) -> bool {
        self.texts.contains_key(module)
    }

    /// Of every module, the imports between its parts, each with an example.
    fn imports(&self) -> BTreeMap<Module, BTreeMap<(String, String), String>> {
        let mut out: BTreeMap<Module, BTreeMap<(String, String), String>> = BTreeMap::new();
        for (module, text) in &self.texts {
            for path in text.names.values().chain(&text.paths) {
                let Some(target) = self.resolve(module, path, 0) else { continue };
                let shared = module.iter().zip(&target).take_while(|(a, b)| a == b).count();
                let (Some(from), Some(to)) = (module.get(shared), target.get(shared)) else {
                    continue;
                };
                out.entry(module[..shared].to_vec())
                    .or_default()
                    .entry((from.clone(), to.clone()))
                    .or_insert_with(|| format!("{} in {}", path.join("::"), module.join("/")));
            }
        }
        out
    }

    /// The module that defines what a path names; `None` for another crate's.
    fn resolve(&self, module: &[String], path: &[String], depth: u8) -> Option<Module> {
        let mut rest = path;
        let mut at = match path.first()?.as_str() {
            "crate" => Module::new(),
            "self" | "super" => module.to_vec(),
            name => {
                let child = [module, &[name.to_owned()]].concat();
                return self.is_module(&child).then(|| self.walk(module, path, depth));
            }
        };
        while let Some((first, tail)) = rest.split_first() {
            match first.as_str() {
                "crate" | "self" => {}
                "super" => drop(at.pop()),
                _ => break,
            }
            rest = tail;
        }
        Some(self.walk(&at, rest, depth))
    }

    fn walk(&self, from: &[String], path: &[String], depth: u8) -> Module {
        let mut at = from.to_vec();
        for (i, name) in path.iter().enumerate() {
            let child = [at.as_slice(), std::slice::from_ref(name)].concat();
            if self.is_module(&child) {
                at = child;
                continue;
            }
            // A name that the door brings in from behind it, or from another room.
            let brought = self.texts.get(&at).and_then(|text| text.names.get(name));
            let whole = brought.map(|start| [start, &path[i + 1..]].concat());
            return whole
                .filter(|_| depth < 8)
                .and_then(|whole| self.resolve(&at, &whole, depth + 1))
                .unwrap_or(at);
        }
        at
    }
}

fn gather(folder: &Path, module: &mut Module, out: &mut Vec<(Module, String)>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        if path.is_dir() {
            module.push(name);
            gather(&path, module, out);
            module.pop();
        } else if path.extension().is_some_and(|e| e == "rs") && name != "main" {
            let own = if name == "lib" { Module::new() } else { [&module[..], &[name]].concat() };
            out.push((own, fs::read_to_string(&path).unwrap()));
        }
    }
}

/// The modules that a file declares for tests alone, in files of their own.
fn test_modules(module: &[String], text: &str) -> Vec<Module> {
    let declared = text.split("#[cfg(test)]").skip(1).filter_map(|after| {
        let name = after.trim_start().strip_prefix("mod ")?.split_once(';')?.0;
        name.chars().all(|c| c.is_alphanumeric() || c == '_').then(|| name.to_owned())
    });
    declared.map(|name| [module, &[name]].concat()).collect()
}

impl Text {
    fn of(text: &str) -> Self {
        let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
        let lines = code.lines().filter(|line| !line.trim_start().starts_with("//"));
        let code = lines.collect::<Vec<_>>().join("\n");
        let mut names = BTreeMap::new();
        let mut rest = String::new();
        let mut open = code.as_str();
        while let Some((before, tree, after)) = next_use(open) {
            rest.push_str(before);
            flatten(tree, &[], &mut names);
            open = after;
        }
        rest.push_str(open);
        Self { names, paths: paths(&rest) }
    }
}

/// Splits a text at its next `use` line.
fn next_use(text: &str) -> Option<(&str, &str, &str)> {
    let mut from = 0;
    loop {
        let at = from + text[from..].find("use ")?;
        let line = text[..at].rsplit('\n').next().unwrap_or_default().trim_start();
        if line.is_empty() || line.starts_with("pub") && !line.contains('=') {
            let (tree, after) = text[at + 4..].split_once(';')?;
            return Some((&text[..at], tree, after));
        }
        from = at + 4;
    }
}

/// The names that a `use` tree brings, each with its path.
fn flatten(tree: &str, prefix: &[String], out: &mut BTreeMap<String, Vec<String>>) {
    for part in branches(tree) {
        let (head, inner) = match part.split_once('{') {
            Some((head, inner)) => (head, inner.rsplit_once('}').map(|(inner, _)| inner)),
            None => (part, None),
        };
        let (head, alias) = match head.split_once(" as ") {
            Some((head, alias)) => (head, Some(alias.trim())),
            None => (head, None),
        };
        let own = head.split("::").map(str::trim).filter(|s| !s.is_empty()).map(str::to_owned);
        let mut path = [prefix, &own.collect::<Vec<_>>()].concat();
        if let Some(inner) = inner {
            flatten(inner, &path, out);
            continue;
        }
        if path.len() > 1 && path.last().is_some_and(|last| last == "self") {
            path.pop();
        }
        if let Some(name) = alias.or(path.last().map(String::as_str)) {
            out.insert(name.to_owned(), path.clone());
        }
    }
}

/// The parts of a `use` tree that commas outside of braces separate.
fn branches(tree: &str) -> Vec<&str> {
    let mut out = Vec::new();
    let (mut depth, mut start) = (0, 0);
    for (i, c) in tree.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                out.push(tree[start..i].trim());
                start = i + 1;
            }
            _ => {}
        }
    }
    out.push(tree[start..].trim());
    out.retain(|part| !part.is_empty());
    out
}

/// Every path in code that begins with `crate`, `super` or `self`.
fn paths(code: &str) -> Vec<Vec<String>> {
    let words = code.split(|c: char| !c.is_alphanumeric() && c != '_' && c != ':');
    let paths = words.map(|word| word.split("::").map(str::to_owned).collect::<Vec<_>>());
    let ours = |path: &Vec<String>| {
        path.len() > 1 && matches!(path[0].as_str(), "crate" | "super" | "self")
    };
    paths.filter(ours).map(|path| path.into_iter().filter(|s| !s.is_empty()).collect()).collect()
}
