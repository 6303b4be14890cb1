//! A weigh sheet for people: what goes on the scale, in order, with boxes to tick; jugs and colours; plans; lots; cost; label. It is read on a terminal
//! and printed for the bench.

use barwright_blend::cautions::{Caution, HEAT, plant_statement, sensitises};
use barwright_making::batch::{Batch, BatchTask, Colour, uses};
use barwright_making::declaration::{ALLERGEN_PERCENT, Content, Declaration, FEW_PERCENT};
use barwright_reference::mould::Mould;
use barwright_reference::{IngredientId, Library, Market};

use crate::assess::{interval_words, share};
use crate::cautions;
use crate::document::{Block, Document, Field, Kind, Section, Step, Table};
use crate::html;
use crate::keeping;
use crate::mould::mass;
use crate::plans::Plans;
use crate::pour;
use crate::stock::Stocked;
use crate::words::names::{in_text, list, name, title};
use crate::words::number::{amount, fixed, significant};
use crate::words::scale::{Scale, plain};
use crate::words::units::Units;
use crate::words::visible::visible;

/// A mass is weighed too coarsely when the error of the scale is more than this share of it.
const COARSE: f64 = 0.05;

/// A content that is less than the bar by more than this share of it was rounded.
const ROUNDED: f64 = 1e-9;

/// What colour asks of everyone.
const COLOUR_RULE: &str = "Colour comes on top of the melt: rub it into a little of the batch's warm oil first. It can stain mould, skin and \
                           cloth: test it. Powder can be inhaled: raise no dust.";

/// What a spoon is worth.
const SPOON_RULE: &str =
    "A spoon is only as accurate as its density: level it, do not press. Where your scale can weigh it, weigh it.";

/// Where the plans are to be had when there are none.
const NO_PLANS: &str = "Temperatures and times: `barwright pour` and `barwright cool`.";

/// What there is to know besides of a pour.
const POUR_ALONE: &str =
    "`barwright pour` says more, and what it rests on; with a mould file there is a plan of cooling.";

/// The same of a pour and a cooling.
const POUR_AND_COOL: &str = "`barwright pour` and `barwright cool` say more, and what it rests on; when a bar can leave its mould is a rule of thumb.";

/// For a scent without a stated flash point.
const NO_FLASH_POINT: &str =
    "The scent goes in last. Its lot states no `flash_c`: look up in its certificate how hot the melt may be.";

/// What stands at the end of the printed sheet.
const FOOT: &str =
    "Worked out by barwright from your formula: predictions, not measurements. Keep this sheet with the bar kept back.";

/// What a sheet is made from.
pub(crate) struct View<'a> {
    /// The batch.
    pub(crate) sheet: &'a Batch,
    /// The request.
    pub(crate) task: &'a BatchTask<'a>,
    /// The mould, if one was named.
    pub(crate) mould: Option<&'a Mould>,
    /// The label.
    pub(crate) label: &'a Declaration,
    /// Reference tables.
    pub(crate) library: &'a Library,
    /// Plans of pouring and cooling, if they are wanted.
    pub(crate) plans: Option<&'a Plans<'a>>,
    /// What is there, if it was asked for.
    pub(crate) stocked: Option<&'a Stocked>,
    /// Number of the batch.
    pub(crate) number: Option<&'a str>,
    /// Units shown.
    pub(crate) units: Units,
}

/// Returns the sheet as a page to print.
///
/// # Arguments
/// * `number`: of the batch.
pub fn page(sheet: &Document, number: Option<&str>) -> String {
    let number = number.map_or_else(String::new, |number| format!(", batch {}", visible(number)));
    html::page(sheet, &format!("{}{number}: weigh sheet", sheet.title), FOOT)
}

impl View<'_> {
    /// The sheet, in the order it is read at the bench.
    pub(crate) fn document(&self) -> Document {
        let field = |label, value: Option<String>| Field { label, value };
        let fields = [field("Batch", self.number.map(visible)), field("Date", None), field("Made by", None)];
        let mut document = Document::new(title(self.task.formula, self.library), "")
            .lead([Block::Fields(fields.into()), Block::said([self.summary()])])
            .lead(self.over_limits().chain(self.scent_left_out()).map(Block::Alarm))
            .lead(self.stocked.and_then(|stocked| stocked.short(self.library, self.units)).map(Block::Alarm));
        let sections = [
            Some(self.weighing()),
            self.jugs(),
            self.pouring(),
            self.cooling(),
            Some(self.bench()),
            Some(self.lots()),
            self.stocked.map(|stocked| stocked.section(self.library, self.task.colours, self.units)),
            self.cost(),
            Some(self.label()),
            keeping::section(self.library, &self.sheet.whole),
            Some(self.cautions()),
        ];
        document.sections.extend(sections.into_iter().flatten());
        document
    }

    /// Common name of an ingredient.
    fn called(&self, id: IngredientId) -> &str {
        self.library.common_name(id)
    }

    /// Common names of some ingredients, as a list in running text.
    fn in_list(&self, all: &[IngredientId]) -> String {
        list(&all.iter().map(|&id| in_text(self.called(id))).collect::<Vec<_>>(), "and")
    }

    /// Bars, and what to weigh.
    fn summary(&self) -> String {
        let named = self.mould.and_then(|mould| mould.name.as_ref());
        let over = |mould: &Mould| {
            self.task.bars.checked_rem(mould.cavities).filter(|over| *over > 0).map(|over| (over, mould.cavities))
        };
        let over = self.mould.and_then(over).map_or_else(String::new, |(over, cavities)| {
            format!(" The last filling takes {over} of {cavities} cavities.")
        });
        format!(
            "{} bars of {}{}: weigh {}, of which {} % may stay in the jug.{over}",
            self.task.bars,
            mass(self.task.bar_g, self.units),
            named.map_or_else(String::new, |named| format!(" in the {}", name(named))),
            Scale(self.units).mass(self.sheet.melt_g),
            amount(100.0 * self.task.left_share)
        )
    }

    /// Scents above the limits of their certificates.
    fn over_limits(&self) -> impl Iterator<Item = String> {
        self.sheet.over.iter().map(|over| {
            format!(
                "Too much {}: {} % of the bar, and its certificate allows {} %. Weigh less.",
                in_text(self.called(over.ingredient)),
                significant(over.percent, 3),
                amount(over.limit_percent)
            )
        })
    }

    /// A scent that is on the sheet and does not go into the melt.
    fn scent_left_out(&self) -> Option<String> {
        let found = &self.plans?.pour.as_ref()?.found;
        let out = found.melts && !found.window;
        out.then(|| "The scent does not go into this melt: see \"Melt and pour\" before you weigh.".to_owned())
    }

    /// What goes on the scale.
    fn weighing(&self) -> Section {
        let scale = Scale(self.units);
        let [weigh, shows] = ["weigh", "scale shows"].map(|head| format!("{head}, {}", scale.unit()));
        let table = Table::new("The last column is what the scale shows when it is not set to zero between.")
            .columns(Kind::Words, ["ingredient"])
            .columns(Kind::Number, ["%"])
            .columns(Kind::Mass, [weigh])
            .columns(Kind::Number, [shows])
            .with_ticks();
        let places = |percent: f64| amount(percent).split_once('.').map_or(0, |(_, decimals)| decimals.len());
        let decimals = self.sheet.lines.iter().map(|line| places(line.percent)).max().unwrap_or(0);
        let table = table.rows(self.sheet.lines.iter().map(|line| {
            let [mass, running] = [line.mass_g, line.running_g].map(|grams| scale.number(grams));
            [visible(self.called(line.ingredient)), of_recipe(line.percent, decimals), mass, running]
        }));
        let blocks =
            std::iter::once(Block::Table(table)).chain(self.scent_in_all()).chain(self.exactness().map(Block::Small));
        Section::new("Weigh, in the order of melting", blocks)
    }

    /// The sum of the scents, where there are several.
    fn scent_in_all(&self) -> Option<Block> {
        let scents = &self.sheet.scents;
        let each: Vec<String> =
            scents.iter().map(|&(id, percent)| format!("{} {} %", in_text(self.called(id)), share(percent))).collect();
        let sum = scents.iter().map(|(_, percent)| percent).sum();
        let said = || format!("Scent in all: {} % of the bar, of which {}.", share(sum), list(&each, "and"));
        (scents.len() > 1).then(|| Block::said([said()]))
    }

    /// How exact the scale is, and for what that is too coarse.
    fn exactness(&self) -> impl Iterator<Item = String> {
        let half_g = 0.5 * self.task.scale_g;
        let half = format!(
            "The scale is right within ±{}, half its last digit; the % are the recipe's, before rounding to it.",
            Scale(self.units).mass(half_g)
        );
        let too_little = |mass_g: f64| half_g > COARSE * mass_g;
        let lines = self.sheet.lines.iter().filter(|line| too_little(line.mass_g));
        let mut coarse: Vec<String> = lines.map(|line| in_text(self.called(line.ingredient))).collect();
        let of_jugs = self.sheet.jugs.iter().flat_map(|jug| &jug.colours);
        for &(index, mass_g) in of_jugs {
            let Some(colour) = self.task.colours.get(index) else { continue };
            let named = visible(&colour.name);
            if !colour.spooned && too_little(mass_g) && !coarse.contains(&named) {
                coarse.push(named);
            }
        }
        let too_coarse = (!coarse.is_empty()).then(|| {
            format!("That is coarse for {}: weigh such small amounts on a finer scale.", list(&coarse, "and"))
        });
        std::iter::once(half).chain(too_coarse)
    }

    /// The jugs and what colours them: a row for each colour, the first with the melt of its jug; `None` when there is nothing to part and nothing to
    /// colour.
    fn jugs(&self) -> Option<Section> {
        let several = self.sheet.jugs.len() > 1;
        let (heading, caption) = match (several, self.task.colours) {
            (false, []) => return None,
            (false, _) => ("Colour", "What is stirred into the melt at the end."),
            (true, []) => ("Jugs", "What goes into each jug."),
            (true, _) => ("Jugs and colour", "What goes into each jug."),
        };
        let mut table = Table::new(caption);
        if several {
            table = table.columns(Kind::Words, ["jug"]).columns(Kind::Number, ["melt"]);
        }
        let mut table = table
            .columns(Kind::Words, ["colour"])
            .columns(Kind::Number, ["by mass"])
            .columns(Kind::Words, ["by spoon"])
            .with_ticks();
        for (index, jug) in self.sheet.jugs.iter().enumerate() {
            let mut melt = Scale(self.units).mass(jug.melt_g);
            let mut row = |colour: [String; 3]| {
                let of_jug = several.then(|| [(index + 1).to_string(), std::mem::take(&mut melt)]);
                table.row(of_jug.into_iter().flatten().chain(colour));
            };
            jug.colours.iter().filter_map(|&(of, mass_g)| self.colour(of, mass_g)).for_each(&mut row);
            if jug.colours.is_empty() {
                row(["no colour".to_owned(), String::new(), String::new()]);
            }
        }
        let spooned = self.task.colours.iter().any(|colour| colour.density_g_ml.is_some());
        let rules = (!self.task.colours.is_empty()).then_some(COLOUR_RULE).into_iter();
        let rules: Vec<&str> = rules.chain(spooned.then_some(SPOON_RULE)).collect();
        let rules = (!rules.is_empty()).then(|| Block::said(rules));
        Some(Section::new(heading, std::iter::once(Block::Table(table)).chain(rules)))
    }

    /// A colour in a jug: its name, its mass, its measure in spoons with the density that says so.
    fn colour(&self, index: usize, mass_g: f64) -> Option<[String; 3]> {
        let colour = self.task.colours.get(index)?;
        let spoons = colour.volume_ml(mass_g).zip(colour.density_g_ml).map_or_else(
            || "weigh it".to_owned(),
            |(volume_ml, density_g_ml)| format!("{}, {} g/ml loose", self.units.spoons(volume_ml), plain(density_g_ml)),
        );
        Some([visible(&colour.name), self.colour_mass(colour, mass_g), spoons])
    }

    /// A mass of colour: as given, or with the digits that a spoon deserves; so little that grams are shown in any units.
    fn colour_mass(&self, colour: &Colour, mass_g: f64) -> String {
        let grams = match colour.spooned {
            true => format!("about {} g", significant(mass_g, 2)),
            false => format!("{} g", plain(mass_g)),
        };
        match self.units {
            Units::Metric => grams,
            Units::Us => format!("{grams} ({})", Scale(self.units).mass(mass_g)),
        }
    }

    /// What the plan of the pour says that decides.
    fn pouring(&self) -> Option<Section> {
        let plan = self.plans?.pour.as_ref()?;
        let found = &plan.found;
        let first = match found.order.as_slice() {
            [first, _, ..] if found.melts => first.melts_c.map(|melts_c| {
                format!(
                    "{} first, the hardest: it melts up to {}. Then the rest, in the order of the sheet.",
                    visible(self.called(first.ingredient)),
                    self.units.whole_degrees(melts_c)
                )
            }),
            _ => None,
        };
        let unknown = !self.task.scents.is_empty() && found.scent_below_c.is_none();
        let scent = plan.scent().into_iter().chain(unknown.then(|| NO_FLASH_POINT.to_owned()));
        let seeds = (found.seeds && found.melts).then(|| pour::SEEDS.to_owned());
        let said = first.into_iter().chain(plan.decisive()).chain(seeds).chain(scent);
        Some(Section::new("Melt and pour", [Block::said(said)]))
    }

    /// What the plan of the cooling says that decides.
    fn cooling(&self) -> Option<Section> {
        let plan = self.plans?.cool.as_ref()?;
        let said = std::iter::once(plan.best_place()).chain(plan.below()).chain([plan.dew()]);
        Some(Section::new("Cool and unmould", [Block::said(said)]))
    }

    /// What is ticked off at the bench, and what the plans rest on.
    fn bench(&self) -> Section {
        let pour = self.plans.and_then(|plans| plans.pour.as_ref()).map(|plan| &plan.found);
        let planned = pour.filter(|found| found.melts);
        let planned =
            planned.map_or_else(String::new, |found| format!(", {} planned", self.units.whole_degrees(found.pour_c)));
        let steps = [
            ("melted in this order, clear, no drop of water", false),
            (&format!("temperature at the pour{planned}"), true),
            ("poured; time", true),
            ("out of the mould; relief whole; no grain seen; time", true),
            ("mean mass of ten bars", true),
            ("lots used written down; one bar kept back", false),
        ];
        let steps = steps.map(|(text, fill)| Step { text: text.to_owned(), fill });
        let more = match self.plans.map(|plans| &plans.cool) {
            Some(Some(_)) => POUR_AND_COOL,
            _ => POUR_ALONE,
        };
        let rests =
            pour.map_or_else(|| NO_PLANS.to_owned(), |found| format!("{more} {}", interval_words(&found.assessment)));
        Section::new("At the bench", [Block::Steps(steps.into()), Block::Small(rests)])
    }

    /// What each thing weighed came from: the maker's own lots by their keys, the rest to be written in.
    fn lots(&self) -> Section {
        let of = |(id, mass_g): (IngredientId, f64)| {
            let one = self.library.get(id)?;
            let parent = one.lot_of.and_then(|parent| self.library.get(parent));
            // A lot without a name of its own is called by its key.
            let unnamed = parent.filter(|_| one.common_name == one.key);
            let lot = parent.map_or_else(String::new, |_| visible(&one.key));
            Some([visible(&unnamed.unwrap_or(one).common_name), Scale(self.units).mass(mass_g), lot])
        };
        let colours = self.task.colours.iter();
        let colours =
            colours.map(|colour| [visible(&colour.name), self.colour_mass(colour, colour.mass_g), String::new()]);
        let table = Table::new("Lots of your file are named; write in the others.")
            .columns(Kind::Words, ["what"])
            .columns(Kind::Number, ["mass"])
            .columns(Kind::Fill, ["lot"])
            .with_ticks()
            .rows(uses(&self.sheet.lines).into_iter().filter_map(of).chain(colours));
        Section::new("Lots used", [Block::Table(table)])
    }

    /// What it costs, where any price is known.
    fn cost(&self) -> Option<Section> {
        let sheet = self.sheet;
        let Some(cost) = &sheet.cost else {
            let missing = || format!("Not known: there is no price for {}.", self.in_list(&sheet.without_price));
            let some = sheet.lines.iter().any(|line| line.price.is_some());
            return some.then(|| Section::new("Cost", [Block::said([missing()])]));
        };
        let bars = f64::from(self.task.bars);
        let row = |what: &str, money: f64| [what.to_owned(), format!("{money:.2}"), format!("{:.2}", money / bars)];
        let mut table = Table::new("Of the batch, and of one bar.")
            .columns(Kind::Words, ["what"])
            .columns(Kind::Number, ["batch", "a bar"]);
        let parts = [("ingredients", cost.ingredients), ("packaging", cost.packaging), ("labour", cost.labour)];
        parts.iter().filter(|(_, money)| *money > 0.0).for_each(|(what, money)| table.row(row(what, *money)));
        table.sum(row("total", cost.batch));
        let gram = format!("A gram sold costs {}.", significant(cost.gram, 2));
        Some(Section::new("Cost, in the money of your prices", [Block::Table(table), Block::said([gram])]))
    }

    /// The label.
    fn label(&self) -> Section {
        let label = self.label;
        let mut items = vec![("Ingredients", visible(&label.text()))];
        let minor: Vec<String> = label.minor().map(|one| visible(&one.name)).collect();
        if minor.len() > 1 {
            let which = match label.market {
                Market::Eu => "below 1 %",
                Market::Us => "1 % or less",
            };
            items.push(("Any order", format!("{which}: {}", list(&minor, "and"))));
        }
        let allergen = |one: &barwright_making::declaration::Declared| {
            format!("{} {} %", visible(&one.name), significant(one.percent, 2))
        };
        let allergens: Vec<String> = label.allergens.iter().map(allergen).collect();
        if !allergens.is_empty() {
            let above = format!("above {ALLERGEN_PERCENT} %: {}", list(&allergens, "and"));
            items.push(("Allergens of the scent", above));
        }
        let (style, market, other) = match label.market {
            Market::Eu => ("EU", "us", "US"),
            Market::Us => ("US", "eu", "EU"),
        };
        let names = format!(
            "in {style} style, most from memory and not looked up: check them; `--market {market}` has the {other} style"
        );
        let also = "name and address of whoever answers for it; batch number; how long it keeps; how to use it";
        items.extend([
            ("Content", content(self.task.bar_g, label.market)),
            ("Names", names),
            ("Also", also.to_owned()),
        ]);
        items.extend(label.notes.iter().map(|note| (note.about, visible(&note.text))));
        Section::new("Label, a draft", [Block::terms(items)])
    }

    /// What to take care of.
    fn cautions(&self) -> Section {
        let label = self.label;
        let in_list = |names: &[String]| list(&names.iter().map(|one| in_text(one)).collect::<Vec<_>>(), "and");
        let unlimited = &self.sheet.unlimited;
        let all = [
            ("nuts", (!label.nuts.is_empty()).then(|| {
                format!("From nuts, or counted so by some rules or lots: {}. Say so plainly on the label.", in_list(&label.nuts))
            })),
            ("origin", (!label.animal.is_empty()).then(|| {
                format!("Animal-derived: {}. The bar is not vegan.", in_list(&label.animal))
            })),
            ("origin", (!label.possibly_animal.is_empty()).then(|| plant_statement(&in_list(&label.possibly_animal)))),
            ("skin", (!label.sensitisers.is_empty()).then(|| sensitises(&in_list(&label.sensitisers)))),
            ("scent", (!unlimited.is_empty()).then(|| {
                format!(
                    "No lot of {} states a `limit_percent`: look up in its certificate how much may stay on the skin. This tool has no limit of its own.",
                    self.in_list(unlimited)
                )
            })),
            ("heat", Some(HEAT.to_owned())),
            ("safety", Some("Check label, claims and safety assessment with your local authority or a safety assessor.".to_owned())),
        ];
        let all = all.into_iter().filter_map(|(about, text)| Some(Caution::new(about, text?).into()));
        Section::new(cautions::HEADING, [Block::Cautions(all.collect())])
    }
}

/// A share of the recipe: with the decimals that its shares have, or two digits below 1.
fn of_recipe(percent: f64, decimals: usize) -> String {
    if percent < 1.0 { share(percent) } else { fixed(percent, decimals) }
}

/// What is stated of the content, and what a market asks of it.
fn content(bar_g: f64, market: Market) -> String {
    let Some(content) = Content::of(bar_g) else { return "too light a bar to state in grams".to_owned() };
    let grams = format!("{} g", plain(content.grams));
    let ounces = if content.ounces > 0.0 { format!("{:.2} oz", content.ounces) } else { "under 0.01 oz".to_owned() };
    let rounded = if content.grams < bar_g * (1.0 - ROUNDED) { ", rounded down" } else { "" };
    match (market, content.tolerable_error_g) {
        (Market::Eu, Some(error_g)) => format!(
            "{grams} ({ounces}){rounded}; the mean of the bars at least that, few of them (in general no more than {FEW_PERCENT} %) short by more than {} g, \
             the tolerable error, and none by more than {} g, twice that (EU)",
            plain(error_g),
            plain(2.0 * error_g)
        ),
        (Market::Eu, None) => {
            format!("{grams} ({ounces}){rounded}; no bar lighter: the rule of the mean speaks of 5 g to 10 kg (EU)")
        }
        (Market::Us, _) => format!(
            "{ounces} ({grams}) net weight{rounded}, on the lower 30 % of the main panel; the mean of the bars at least that (US, recalled)"
        ),
    }
}
