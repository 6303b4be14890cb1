//! The nearest right names for a misspelt one.

/// Largest number of characters of the misspelt name compared, so that a very long one costs no more than a short one.
const MAX_COMPARED: usize = 64;

/// Returns the owners of the `count` nearest names, best first; an owner of several names counts by its best.
///
/// `names` pairs an owner with a name; compare like with like, that is, normalise both sides the same way first.
///
/// ```
/// use barwright_reference::suggest::nearest;
/// let names = [(0, "beeswax"), (0, "ceraalba"), (1, "castoroil"), (2, "cocoabutter")];
/// assert_eq!(nearest("beswax", names, 1), [0]);
/// ```
pub fn nearest<'n, I: Copy + Ord>(wanted: &str, names: impl IntoIterator<Item = (I, &'n str)>, count: usize) -> Vec<I> {
    near(wanted, names, count, 0.0)
}

/// As [`nearest`], without those less like it than `least`, 0 to 1: they are no misspelling.
pub(crate) fn near<'n, I: Copy + Ord>(
    wanted: &str,
    names: impl IntoIterator<Item = (I, &'n str)>,
    count: usize,
    least: f64,
) -> Vec<I> {
    let wanted: String = wanted.chars().take(MAX_COMPARED).collect();
    let scored = names.into_iter().map(|(index, name)| (index, similarity(&wanted, name)));
    let mut scored: Vec<(I, f64)> = scored.filter(|entry| entry.1 >= least).collect();
    scored.sort_by(|left, right| left.0.cmp(&right.0).then(right.1.total_cmp(&left.1)));
    scored.dedup_by_key(|entry| entry.0);
    scored.sort_by(|left, right| right.1.total_cmp(&left.1));
    scored.into_iter().take(count).map(|(index, _)| index).collect()
}

/// Returns how alike two names are, 0 to 1: the mean of a measure that favours a common start and one that counts edits.
fn similarity(left: &str, right: &str) -> f64 {
    0.5 * (strsim::jaro_winkler(left, right) + strsim::normalized_damerau_levenshtein(left, right))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn misspellings_find_their_name() {
        let names = [(0, "beeswax"), (1, "castoroil"), (2, "cocoabutter"), (2, "cacaobutter"), (3, "sunfloweroil")];
        for (wanted, best) in [("beswax", 0), ("beewsax", 0), ("casteroil", 1), ("cacoabuter", 2), ("sunflower", 3)] {
            assert_eq!(nearest(wanted, names, 3).first(), Some(&best), "{wanted}");
        }
    }

    #[test]
    fn what_is_no_misspelling_is_left_out() {
        let names = [(0, "beeswax"), (1, "sunfloweroil"), (2, "soywax")];
        assert!(near("honey", names, 3, 0.6).is_empty());
        assert_eq!(near("beswax", names, 3, 0.6).first(), Some(&0));
    }

    #[test]
    fn likeness_runs_from_nothing_to_the_same() {
        assert_eq!((similarity("beeswax", "beeswax"), similarity("abc", "xyz")), (1.0, 0.0));
    }

    #[test]
    fn each_index_comes_once_and_ties_keep_their_order() {
        assert_eq!(nearest("x", [(0, "ab"), (0, "cd"), (1, "ef")], 9), [0, 1]);
        assert!(nearest::<usize>("x", [], 3).is_empty());
        assert_eq!(nearest(&"x".repeat(1 << 20), [(7, "beeswax")], 3), [7]);
    }
}
