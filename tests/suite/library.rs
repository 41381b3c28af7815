//! x
use coldboard::language::ast::Item;
use coldboard::part::Part;
use coldboard::part::table::verify;
use coldboard::text::Sources;

#[test]
fn tables() {
    let mut out = String::new();
    for dir in std::fs::read_dir("library").unwrap() {
        let dir = dir.unwrap().path();
        for f in std::fs::read_dir(dir).unwrap() {
            let p = f.unwrap().path();
            let t = std::fs::read_to_string(&p).unwrap();
            let mut s = Sources::new();
            let k = s.add(p.display().to_string(), t.clone());
            let (file, mut e) = coldboard::language::parse(k, &t);
            for i in &file.items {
                if let Item::Part(tree) = i {
                    let (part, pr) = Part::load(tree);
                    e.extend(pr);
                    if let Some(part) = part {
                        for f in verify(&part, 1) {
                            out += &format!("{}: {f}\n", s.place(f.row));
                        }
                    }
                }
            }
            for d in &e {
                out += &format!(
                    "{}: {}\n",
                    d.labels
                        .first()
                        .map(|l| s.place(l.span))
                        .unwrap_or_default(),
                    d.message
                );
            }
        }
    }
    panic!("{out}");
}
