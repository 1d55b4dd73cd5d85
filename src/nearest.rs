//! The known name that an unknown one was meant to be.

/// Returns the candidate that resembles a name most, if any does.
pub(crate) fn nearest<'c>(
    name: &str,
    candidates: impl IntoIterator<Item = &'c str>,
) -> Option<&'c str> {
    if name.chars().count() > LONGEST {
        return None;
    }
    let candidates: Vec<_> = candidates.into_iter().collect();
    let bare = bare(name);
    if let Some((_, newer)) = OLDER_NAMES.iter().find(|(older, _)| *older == bare) {
        return candidates.into_iter().find(|candidate| candidate == newer);
    }
    let allowed = if bare.len() <= 4 { 1 } else { 2 };
    candidates
        .into_iter()
        .map(|candidate| (distance(&bare, &self::bare(candidate)), candidate))
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// Returns a name without what people write differently: case, `-` and `_`.
fn bare(name: &str) -> String {
    name.chars().filter(|c| !matches!(c, '-' | '_')).flat_map(char::to_lowercase).collect()
}

/// Counts the characters to insert, leave out or change.
fn distance(a: &str, b: &str) -> usize {
    let mut row: Vec<usize> = (0..=b.chars().count()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut left = i + 1;
        let mut diagonal = i;
        let mut next = Vec::with_capacity(row.len());
        next.push(left);
        for (y, above) in b.chars().zip(row.iter().skip(1)) {
            left = (left + 1).min(above + 1).min(diagonal + usize::from(x != y));
            diagonal = *above;
            next.push(left);
        }
        row = next;
    }
    row.last().copied().unwrap_or_default()
}

/// Names that the standard gave up.
const OLDER_NAMES: [(&str, &str); 4] = [
    ("appeui", "join-eui"),
    ("appnonce", "last-join-nonce"),
    ("lastappnonce", "last-join-nonce"),
    ("nextappnonce", "next-join-nonce"),
];

/// No member's name is nearly so long.
const LONGEST: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_find_the_member_meant() {
        let known = ["dev-eui", "join-eui", "app-key", "f-nwk-s-int-key", "eui", "qr"];
        for (name, meant) in [
            ("devEUI", Some("dev-eui")),
            ("app_key", Some("app-key")),
            ("app-kye", Some("app-key")),
            ("AppEUI", Some("join-eui")),
            ("fnwksintkey", Some("f-nwk-s-int-key")),
            ("colour", None),
            ("", None),
        ] {
            assert_eq!(nearest(name, known), meant, "{name}");
        }
        assert_eq!(nearest(&"a".repeat(1_000_000), known), None);
    }
}
