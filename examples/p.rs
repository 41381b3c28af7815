//! Scratch: parse and load files.
fn main() {
    use coldboard::diagnostic::Look;
    for a in std::env::args().skip(1) {
        let t = std::fs::read_to_string(&a).unwrap();
        let mut s = coldboard::text::Sources::new();
        let k = s.add(a.clone(), t.clone());
        let (f, mut e) = coldboard::language::parse(k, &t);
        for i in &f.items {
            if let coldboard::language::ast::Item::Part(p) = i {
                let (part, pr) = coldboard::part::Part::load(p);
                e.extend(pr);
                if let (Some(part), true) = (part, std::env::var("AST").is_ok()) {
                    println!("{:#?}", part.function);
                }
            }
        }
        println!("{a}: {} items, {} errors", f.items.len(), e.len());
        println!(
            "{}",
            coldboard::diagnostic::terminal::Terminal {
                colour: false,
                width: 100
            }
            .render(&s, &e)
        );
    }
}
