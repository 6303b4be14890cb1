//! Straight chains, alkanes, fatty acids and fatty alcohols, share a crystal with those of nearly their own length only.
//!
//! ```text
//! n = (M − 2.016) / 14.027          two neighbours in the list of lengths with n_(k+1) − n_k > 3 are in different solid solutions
//! ```
//! `M` molar mass, g/mol; `n` carbon atoms of an alkane. An acid or an alcohol comes out longer by the same for every length, so its steps are right. Chains two
//! carbons apart are replaced for each other in one lattice; four apart, each keeps its own. A wax with every length in between (paraffin, or the odd
//! alkanes of a plant) is one solid solution: each length bridges its neighbours.
//!
//! # Validity
//! Alkanes C20 to C40, acids and alcohols C8 to C18. Two acids two carbons apart do not mix in every proportion and form a compound near 1:1: palmitic with
//! stearic acid stands in the table as one. Any amount of a length in between counts as a bridge; a trace would not do so in a real crystal. Three apart,
//! which is between the published cases, counts as near (judgement).
//!
//! # Source
//! Limits of solid solution of two n-alkanes, two carbons apart miscible and four apart not: Mnyukh 1960 and Dorset 1990 (recalled). Acids six carbons
//! apart, alcohols four apart: each crystallises from the melt on its own (liquidus points of Costa 2009 and Carareto 2014, read; `tests/validation/liquidus.rs`).

/// Molar mass of the two end hydrogens, g/mol.
const ENDS_G_MOL: f64 = 2.016;

/// Molar mass of a CH2 group, g/mol.
const GROUP_G_MOL: f64 = 14.027;

/// Neighbouring lengths further apart than this do not share a crystal, carbon atoms.
pub(crate) const LARGEST_STEP: f64 = 3.5;

/// Number of carbon atoms of the n-alkane of a molar mass, dimensionless.
///
/// # Example
/// ```
/// use barwright_blend::chain_length::carbons;
/// assert!((carbons(338.66) - 24.0).abs() < 0.01);
/// ```
pub fn carbons(molar_mass_g_mol: f64) -> f64 {
    (molar_mass_g_mol - ENDS_G_MOL) / GROUP_G_MOL
}

/// Numbers the solid solutions of a set of chain lengths, from 0 for the shortest.
///
/// # Arguments
/// * `carbons`: chain lengths in carbon atoms (dimensionless), in any order.
///
/// # Example
/// Two carbons apart share a crystal, four apart do not, unless a length between them bridges the gap:
/// ```
/// use barwright_blend::chain_length::solutions;
/// assert_eq!(solutions(&[26.0, 24.0]), [0, 0]);
/// assert_eq!(solutions(&[28.0, 24.0]), [1, 0]);
/// assert_eq!(solutions(&[28.0, 24.0, 26.0]), [0, 0, 0]);
/// ```
pub fn solutions(carbons: &[f64]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..carbons.len()).collect();
    order.sort_by(|&a, &b| carbons[a].total_cmp(&carbons[b]));
    let mut numbers = vec![0; carbons.len()];
    let mut number = 0;
    for pair in order.windows(2) {
        if carbons[pair[1]] - carbons[pair[0]] > LARGEST_STEP {
            number += 1;
        }
        numbers[pair[1]] = number;
    }
    numbers
}
