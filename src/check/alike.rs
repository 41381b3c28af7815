//! Findings that say the same of several pins or nets of one statement or bus, such as each line of it: one finding for
//! all.

use super::Finding;
use crate::diagnostic::Severity;
use crate::text::Span;
use std::collections::BTreeMap;

/// What findings must have in common, besides a place.
type Kind = (&'static str, String, Severity, String);

/// Puts findings together that differ only in the numbers of names and pins, and that point to one place: the driver of
/// a bus, one that listens, or where the bus is written. The first of them stays and names the others; the order stays as
/// well.
pub(super) fn together(findings: Vec<Finding>) -> Vec<Finding> {
    let mut kept: Vec<Finding> = Vec::new();
    let mut first: BTreeMap<(Kind, Option<Span>), usize> = BTreeMap::new();
    for finding in findings {
        let diagnostic = &finding.diagnostic;
        let kind = (finding.rule, finding.board.clone(), diagnostic.severity, shape(&diagnostic.message));
        let mut places: Vec<Option<Span>> = (diagnostic.labels.iter()).map(|label| Some(label.span)).collect();
        if places.is_empty() {
            places.push(None);
        }
        let keys: Vec<_> = places.iter().map(|&at| (kind.clone(), at)).collect();
        let at = match keys.iter().find_map(|key| first.get(key)) {
            Some(&at) => {
                kept[at].also.push(finding.place);
                kept[at].also.extend(finding.also);
                at
            }
            None => {
                kept.push(finding);
                kept.len() - 1
            }
        };
        for key in keys {
            first.entry(key).or_insert(at);
        }
    }
    for finding in &mut kept {
        if !finding.also.is_empty() {
            let others = super::rules::list(&finding.also);
            let note = format!("it is the same for {others}");
            finding.diagnostic.notes.push(note);
        }
    }
    kept
}

/// A message without the names of pins and the numbers in names; figures stay.
fn shape(message: &str) -> String {
    let mut words: Vec<String> = Vec::new();
    for word in message.split_whitespace() {
        let of_pin = words.last().is_some_and(|before| before == "(pin");
        let is_name = word.contains(|c: char| c.is_ascii_alphabetic());
        let word = match word.rsplit_once('.') {
            // Of a pin only its chip.
            Some((owner, _)) if is_name => owner,
            _ => word,
        };
        words.push(if of_pin || is_name {
            word.chars().filter(|c| !c.is_ascii_digit()).collect()
        } else {
            word.to_owned()
        });
    }
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::shape;

    #[test]
    fn names_lose_their_numbers_and_figures_keep_them() {
        assert_eq!(shape("the input U1.D2 (pin 3) gets 2.7 V on m0"), "the input U (pin ) gets 2.7 V on m");
        assert_ne!(shape("D1 may carry 21 mA"), shape("D2 may carry 22 mA"));
        assert_eq!(shape("D1 may carry 21 mA"), shape("D2 may carry 21 mA"));
    }
}
