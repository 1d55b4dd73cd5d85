//! The typing error between two names, letter by letter.

/// Returns the typing error that makes one name of the other, if it is one or two letters: `letter 5 is the
/// digit 0, not the letter o`.
pub(super) fn between(own: &str, registered: &str) -> Option<String> {
    let own: Vec<char> = own.chars().take(LONGEST + 1).collect();
    let registered: Vec<char> = registered.chars().take(LONGEST + 1).collect();
    if own.len() > LONGEST || registered.len() > LONGEST {
        return None;
    }
    let start = own.iter().zip(&registered).take_while(|(a, b)| a == b).count();
    let (a, b) = (own.get(start..)?, registered.get(start..)?);
    let end = a.iter().rev().zip(b.iter().rev()).take_while(|(a, b)| a == b).count();
    let a = a.get(..a.len().saturating_sub(end))?;
    let b = b.get(..b.len().saturating_sub(end))?;
    let place = start + 1;
    match (a, b) {
        ([one], [other]) => {
            Some(format!("letter {place} is {}, not {}", called(*one), called(*other)))
        }
        ([a0, a1], [b0, b1]) if a0 == b1 && a1 == b0 => {
            Some(format!("letters {place} and {} are swapped", place + 1))
        }
        ([a0, a1], [b0, b1]) => Some(format!(
            "letters {place} and {} are {} and {}, not {} and {}",
            place + 1,
            called(*a0),
            called(*a1),
            called(*b0),
            called(*b1)
        )),
        ([one], []) => Some(format!("letter {place}, {}, is too many", called(*one))),
        ([], [other]) => Some(format!("before letter {place}, {} is missing", called(*other))),
        _ => {
            let all = own.iter().zip(&registered).enumerate().filter(|(_, (a, b))| a != b);
            let all: Vec<_> = all.collect();
            let [(i, (a0, b0)), (j, (a1, b1))] = all.as_slice() else { return None };
            (own.len() == registered.len()).then(|| {
                format!(
                    "letter {} is {}, not {}, and letter {} is {}, not {}",
                    i + 1,
                    called(**a0),
                    called(**b0),
                    j + 1,
                    called(**a1),
                    called(**b1)
                )
            })
        }
    }
}

/// Returns a letter by its kind: o and 0, l and 1 look alike.
fn called(c: char) -> String {
    if c.is_ascii_digit() {
        format!("the digit {c}")
    } else if c.is_alphabetic() {
        format!("the letter {c}")
    } else {
        format!("`{c}`")
    }
}

/// Letters of a name: those of hosts have 253 at most (RFC 1035, by memory).
const LONGEST: usize = 253;

#[cfg(test)]
mod tests {
    use super::between;

    #[test]
    fn a_typing_error_is_named_letter_by_letter() {
        let server = "lns.orchard.example";
        for (own, how) in [
            ("lns.0rchard.example", Some("letter 5 is the digit 0, not the letter o")),
            ("lns.rochard.example", Some("letters 5 and 6 are swapped")),
            ("lns.orchad.example", Some("before letter 10, the letter r is missing")),
            ("lns-orchard.example", Some("letter 4 is `-`, not `.`")),
            ("lnss.orchard.example", Some("letter 4, the letter s, is too many")),
            (
                "1ns.orchard.examp1e",
                Some(
                    "letter 1 is the digit 1, not the letter l, and letter 18 is the digit 1, not the \
                     letter l",
                ),
            ),
            ("lora.another.example", None),
            ("", None),
        ] {
            assert_eq!(between(own, server).as_deref(), how, "{own}");
        }
    }
}
