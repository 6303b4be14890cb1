//! Samples that a publication gives the composition of: `data/validation/samples.toml`, in the form of a maker's lots.
//!
//! A row of the measurements names one as its ingredient; any other row stands for the ingredient of the reference table.

use barwright_reference::{Diagnostics, Library};

/// The samples that ship with barwright.
pub const BUILTIN: &str = include_str!("../../../../data/validation/samples.toml");

/// Returns a library with the published samples in it.
///
/// # Arguments
/// * `library`: the reference tables, with the maker's lots or without.
///
/// # Errors
/// Every fault of the file, and a lot of the maker's that has the name of a sample.
///
/// # Example
/// ```
/// use barwright_reference::Library;
/// use barwright_calibration::published::samples;
/// let library = Library::builtin()?;
/// let library = samples::with_samples(&library)?;
/// let sample = library.ingredient("cocoa-butter-ivory-coast").ok_or("no such sample")?;
/// assert_eq!(sample.lot_of.map(|like| library.key(like)), Some("cocoa-butter"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn with_samples(library: &Library) -> Result<Library, Diagnostics> {
    library.with_lots(BUILTIN).map(|(library, _)| library)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// POP, POS and SOS as recalled of the publication, area % of the triglycerides, 97 % of the fat.
    #[test]
    fn cocoa_butters_have_the_triglycerides_of_their_publication() {
        let library = with_samples(&Library::builtin().unwrap()).unwrap();
        let published = [
            ("cocoa-butter-india", [15.2, 40.5, 29.3]),
            ("cocoa-butter-ivory-coast", [15.2, 39.0, 27.1]),
            ("cocoa-butter-malaysia", [15.1, 40.4, 31.0]),
            ("cocoa-butter-brazil", [13.6, 33.7, 23.8]),
            ("cocoa-butter-nigeria", [15.5, 40.5, 28.8]),
        ];
        for (key, percent) in published {
            let sample = library.ingredient(key).unwrap();
            for (species, published) in ["POP", "POS", "SOS"].into_iter().zip(percent) {
                let index = library.species_index(species).unwrap();
                let found = sample.composition.iter().find(|part| part.species == index).unwrap().percent;
                assert!((found - 0.97 * published).abs() < 0.02, "{key} {species}: {found}");
            }
        }
    }
}
