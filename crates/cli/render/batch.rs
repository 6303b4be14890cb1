//! A weigh sheet for people: what goes on the scale, in order, with boxes to tick; jugs and colours; plans; lots; cost; label. [`words`] says it, for
//! the terminal ([`write()`]) and for the page to print (`crate::page::batch`).

use std::io;

use barwright_blend::cautions::{HEAT, plant_statement, sensitises};
use barwright_making::batch::{Batch, BatchTask, Colour, uses};
use barwright_making::declaration::{ALLERGEN_PERCENT, Content, Declaration, FEW_PERCENT, OUNCE_G};
use barwright_reference::mould::Mould;
use barwright_reference::{Library, Market};

use super::in_text;
use super::number::amount;
use super::table::Sheet;
use super::{capital, list, name};
use crate::output::Output;
use barwright_answer::assess::{interval_words, share};
use barwright_answer::mould::mass;
use barwright_answer::plans::Plans;
use barwright_answer::words::number::significant;
use barwright_answer::words::units::Units;
use barwright_answer::words::visible::visible;
use barwright_answer::{cool, pour};

/// A mass is weighed too coarsely when the scale is right within more than this share of it.
const COARSE: f64 = 0.05;

/// A content that is less than the bar by more than this share of it was rounded.
const ROUNDED: f64 = 1e-9;

/// A box to tick.
const BOX: &str = "[ ]";

/// A place to write something in.
const FILL: &str = "________";

/// What colour asks of everyone.
const COLOUR_RULE: &str = "Colour comes on top of the melt; rub it into a little warm oil of the batch first. It can stain mould, skin and \
                           cloth: try it. Powder can be breathed in: no dust.";

/// What a spoon is worth.
const SPOON_RULE: &str =
    "A spoon is right only as far as its density is: level, not pressed. Where your scale can weigh it, weigh it.";

/// What is shown.
pub struct View<'a> {
    /// The batch.
    pub sheet: &'a Batch,
    /// What was asked.
    pub task: &'a BatchTask<'a>,
    /// The mould, if one was named.
    pub mould: Option<&'a Mould>,
    /// The label.
    pub label: &'a Declaration,
    /// Reference tables.
    pub library: &'a Library,
    /// Plans of pouring and cooling, if they are wanted.
    pub plans: Option<&'a Plans>,
    /// Number of the batch.
    pub number: Option<&'a str>,
    /// Units shown.
    pub units: Units,
}

/// What the sheet says, safe to show; in the order it is read at the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Words {
    /// Name of the formula.
    pub title: String,
    /// Number of the batch.
    pub number: Option<String>,
    /// Bars, and what to weigh.
    pub summary: String,
    /// Scents above their limits: one sentence each.
    pub over: Vec<String>,
    /// Head of the weigh sheet.
    pub head: [String; 4],
    /// Its lines: ingredient, share, mass, running total.
    pub lines: Vec<[String; 4]>,
    /// How exact that is.
    pub exactness: Vec<String>,
    /// Jugs; one, when the melt is not parted.
    pub jugs: Vec<JugWords>,
    /// What to mind of colours; empty without any.
    pub colour_rules: Vec<&'static str>,
    /// The plan of melting and pouring.
    pub pour: Vec<String>,
    /// The plan of cooling.
    pub cool: Vec<String>,
    /// What the plans rest on, or where they are to be had.
    pub rests: String,
    /// Steps to tick off.
    pub steps: Vec<Step>,
    /// What each thing weighed came from.
    pub lots: Vec<LotWords>,
    /// Cost, where prices are known.
    pub cost: Option<CostWords>,
    /// The label: what, and its text.
    pub label: Vec<(&'static str, String)>,
    /// What to mind: about what, and its text.
    pub mind: Vec<(&'static str, String)>,
}

/// A jug.
#[derive(Debug, Clone, PartialEq)]
pub struct JugWords {
    /// Melt in it.
    pub melt: String,
    /// Colours in it.
    pub colours: Vec<ColourWords>,
}

/// A colour in a jug.
#[derive(Debug, Clone, PartialEq)]
pub struct ColourWords {
    /// Its name.
    pub name: String,
    /// Its mass.
    pub mass: String,
    /// Its measure in spoons, with the density that says so.
    pub spoons: Option<String>,
}

/// A step to tick off, with a place to write behind it or none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// What to do.
    pub text: String,
    /// Whether something is to be written in.
    pub fill: bool,
}

/// What one thing weighed came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotWords {
    /// The ingredient or colour.
    pub of: String,
    /// Key of the maker's lot; without one, it is to be written in.
    pub lot: Option<String>,
    /// Its mass.
    pub mass: String,
}

/// What it costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CostWords {
    /// Prices are missing.
    Unknown(String),
    /// What, for the batch, for a bar; and for a gram.
    Known(Vec<[String; 3]>, String),
}

/// A mass as the scale shows it: as many decimals as it has.
pub fn plain(grams: f64) -> String {
    let text = format!("{grams:.4}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Masses as the scale shows them.
#[derive(Clone, Copy)]
struct Scale(Units);

impl Scale {
    fn unit(self) -> &'static str {
        match self.0 {
            Units::Metric => "g",
            Units::Us => "oz",
        }
    }

    fn number(self, grams: f64) -> String {
        match self.0 {
            Units::Metric => plain(grams),
            Units::Us => format!("{:.3}", grams / OUNCE_G),
        }
    }

    fn mass(self, grams: f64) -> String {
        format!("{} {}", self.number(grams), self.unit())
    }
}

/// Says the sheet.
pub fn words(view: &View<'_>) -> Words {
    let View { sheet, task, units, .. } = *view;
    let scale = Scale(units);
    let called = |index: usize| view.library.ingredients.get(index).map_or("", |one| one.common_name.as_str());
    let of = view
        .mould
        .and_then(|mould| mould.name.as_ref())
        .map_or_else(String::new, |named| format!(" in the {}", name(named)));
    let summary = format!(
        "{} bars of {}{of}: weigh {}, of which {} % may stay in the jug.",
        task.bars,
        mass(task.bar_g, units),
        scale.mass(sheet.melt_g),
        amount(100.0 * task.left_share)
    );
    let over = sheet.over.iter().map(|over| {
        format!(
            "Too much {}: {} % of the bar, and its certificate allows {} %. Weigh less.",
            in_text(called(over.ingredient)),
            significant(over.percent, 3),
            amount(over.limit_percent)
        )
    });
    let lines = sheet.lines.iter().map(|line| {
        [visible(called(line.ingredient)), share(line.percent), scale.number(line.mass_g), scale.number(line.running_g)]
    });
    let (pour, cool, rests) = plans(view);
    Words {
        title: capital(&name(&sheet.whole.name)),
        number: view.number.map(visible),
        summary,
        over: over.collect(),
        head: [
            "ingredient".to_owned(),
            "%".to_owned(),
            format!("weigh, {}", scale.unit()),
            format!("scale shows, {}", scale.unit()),
        ],
        lines: lines.collect(),
        exactness: exactness(view, &called),
        jugs: jugs(view),
        colour_rules: match task.colours {
            [] => Vec::new(),
            colours if colours.iter().any(|colour| colour.density_g_ml.is_some()) => vec![COLOUR_RULE, SPOON_RULE],
            _ => vec![COLOUR_RULE],
        },
        steps: steps(view),
        lots: lots(view),
        cost: cost(view, &called),
        label: label(view),
        mind: mind(view, &called),
        pour,
        cool,
        rests,
    }
}

/// How exact the scale is, and for what that is too coarse.
fn exactness<'l>(view: &View<'_>, called: &impl Fn(usize) -> &'l str) -> Vec<String> {
    let half_g = 0.5 * view.task.scale_g;
    let half = format!("Each is right within {}, half of what the scale shows.", Scale(view.units).mass(half_g));
    let too_little = |mass_g: f64| half_g > COARSE * mass_g;
    let lines =
        view.sheet.lines.iter().filter(|line| too_little(line.mass_g)).map(|line| in_text(called(line.ingredient)));
    let mut coarse: Vec<String> = lines.collect();
    let of_jugs = view.sheet.jugs.iter().flat_map(|jug| &jug.colours);
    for &(index, mass_g) in of_jugs {
        let Some(colour) = view.task.colours.get(index) else { continue };
        let named = visible(&colour.name);
        if !colour.spooned && too_little(mass_g) && !coarse.contains(&named) {
            coarse.push(named);
        }
    }
    let too_coarse = (!coarse.is_empty())
        .then(|| format!("That is much for {}: weigh so little on a finer scale.", list(&coarse, "and")));
    std::iter::once(half).chain(too_coarse).collect()
}

/// The jugs and what colours them.
fn jugs(view: &View<'_>) -> Vec<JugWords> {
    let one = |&(index, mass_g): &(usize, f64)| {
        let colour = view.task.colours.get(index)?;
        Some(ColourWords {
            name: visible(&colour.name),
            mass: colour_mass(colour, mass_g, view.units),
            spoons: colour.volume_ml(mass_g).zip(colour.density_g_ml).map(|(volume_ml, density_g_ml)| {
                format!("{}, {} g/ml loose", view.units.spoons(volume_ml), plain(density_g_ml))
            }),
        })
    };
    let jug = |jug: &barwright_making::batch::Jug| JugWords {
        melt: Scale(view.units).mass(jug.melt_g),
        colours: jug.colours.iter().filter_map(one).collect(),
    };
    view.sheet.jugs.iter().map(jug).collect()
}

/// A mass of colour: as given, or with the digits that a spoon deserves; so little that grams are shown in any units.
fn colour_mass(colour: &Colour, mass_g: f64, units: Units) -> String {
    let grams = match colour.spooned {
        true => format!("about {} g", significant(mass_g, 2)),
        false => format!("{} g", plain(mass_g)),
    };
    match units {
        Units::Metric => grams,
        Units::Us => format!("{grams} ({})", Scale(units).mass(mass_g)),
    }
}

/// What `pour` and `cool` say that decides, and what that rests on.
fn plans(view: &View<'_>) -> (Vec<String>, Vec<String>, String) {
    let Some(plans) = view.plans.filter(|plans| plans.pour.is_some()) else {
        return (Vec::new(), Vec::new(), "Temperatures and times: `barwright pour` and `barwright cool`.".to_owned());
    };
    let mut pour = Vec::new();
    if let Some(found) = &plans.pour {
        let shown = pour::View {
            found,
            library: view.library,
            mass_kg: plans.jug_kg,
            melt_kg: 1e-3 * view.sheet.melt_g,
            of_mould: false,
            two_streams: false,
            microwave_w: None,
            flash_c: plans.flash_c,
            units: view.units,
        };
        if let [first, _, ..] = found.order.as_slice()
            && let Some(melts_c) = first.melts_c
        {
            let called = view.library.ingredients.get(first.ingredient).map_or("", |one| one.common_name.as_str());
            let melts = view.units.whole_degrees(melts_c);
            pour.push(format!(
                "{} first, the hardest: it melts up to {melts}. Then the rest, in the order of the sheet.",
                visible(called)
            ));
        }
        pour.extend(pour::decisive(&shown));
        if found.seeds {
            pour.push(pour::SEEDS.to_owned());
        }
        match pour::scent(&shown) {
            Some(scent) => pour.push(format!("Before the pour, {scent}.")),
            None if !view.task.scents.is_empty() => pour.push(
                "The scent goes in last. Its lot states no `flash_c`: read its certificate how hot the melt may be."
                    .to_owned(),
            ),
            None => {}
        }
    }
    let mut cool = Vec::new();
    if let (Some((pour_c, found)), Some(mould)) = (&plans.cool, view.mould) {
        let shown = cool::View {
            found,
            mould,
            usual_size: false,
            pour_c: *pour_c,
            relief_mm: plans.options.relief_mm,
            units: view.units,
        };
        cool.push(cool::best_place(&shown));
        cool.extend(cool::below(&shown));
        cool.push(cool::dew(&shown));
    }
    let more = if cool.is_empty() {
        "`barwright pour` says more, and what it rests on; with a mould file there is a plan of cooling."
    } else {
        "`barwright pour` and `barwright cool` say more, and what it rests on; when a bar can leave its mould is a rule of thumb."
    };
    let basis = plans.pour.as_ref().map_or_else(String::new, |found| interval_words(&found.assessment));
    let rests = format!("{more} {basis}");
    (pour, cool, rests)
}

/// What is ticked off at the bench.
fn steps(view: &View<'_>) -> Vec<Step> {
    let planned = view.plans.and_then(|plans| plans.pour.as_ref()).filter(|found| found.window);
    let planned =
        planned.map_or_else(String::new, |found| format!(", {} planned", view.units.whole_degrees(found.pour_c)));
    [
        ("melted in this order, clear, no drop of water".to_owned(), false),
        (format!("temperature at the pour{planned}"), true),
        ("poured; time".to_owned(), true),
        ("out of the mould; relief whole; no grain seen; time".to_owned(), true),
        ("mean mass of ten bars".to_owned(), true),
        ("lots used written down; one bar kept back".to_owned(), false),
    ]
    .map(|(text, fill)| Step { text, fill })
    .to_vec()
}

/// What each thing weighed came from: the maker's own lots by their keys, the rest to be written in.
fn lots(view: &View<'_>) -> Vec<LotWords> {
    let of = |(index, mass_g): (usize, f64)| {
        let one = view.library.ingredients.get(index)?;
        let parent = one.lot_of.and_then(|parent| view.library.ingredients.get(parent));
        // A lot without a name of its own is called by its key.
        let unnamed = parent.filter(|_| one.common_name == one.key);
        Some(LotWords {
            of: visible(&unnamed.unwrap_or(one).common_name),
            lot: parent.map(|_| visible(&one.key)),
            mass: Scale(view.units).mass(mass_g),
        })
    };
    let colours = view.task.colours.iter().map(|colour| LotWords {
        of: visible(&colour.name),
        lot: None,
        mass: colour_mass(colour, colour.mass_g, view.units),
    });
    uses(&view.sheet.lines).into_iter().filter_map(of).chain(colours).collect()
}

/// What it costs, where any price is known.
fn cost<'l>(view: &View<'_>, called: &impl Fn(usize) -> &'l str) -> Option<CostWords> {
    let sheet = view.sheet;
    let Some(cost) = &sheet.cost else {
        let some = sheet.lines.iter().any(|line| line.price.is_some());
        let names: Vec<String> = sheet.without_price.iter().map(|&index| in_text(called(index))).collect();
        return some.then(|| CostWords::Unknown(format!("Not known: there is no price of {}.", list(&names, "and"))));
    };
    let bars = f64::from(view.task.bars);
    let rows = [
        ("ingredients", cost.ingredients),
        ("packaging", cost.packaging),
        ("labour", cost.labour),
        ("together", cost.batch),
    ];
    let rows = rows.into_iter().filter(|(what, money)| *money > 0.0 || *what == "together");
    let rows = rows.map(|(what, money)| [what.to_owned(), format!("{money:.2}"), format!("{:.2}", money / bars)]);
    Some(CostWords::Known(rows.collect(), format!("A gram sold costs {}.", significant(cost.gram, 2))))
}

/// The label.
fn label(view: &View<'_>) -> Vec<(&'static str, String)> {
    let View { label, task, .. } = *view;
    let mut items = vec![("Ingredients", visible(&label.text()))];
    let minor: Vec<String> = label.minor().map(|one| visible(&one.name)).collect();
    if minor.len() > 1 {
        let which = match label.market {
            Market::Eu => "below 1 %",
            Market::Us => "1 % or less",
        };
        items.push(("Any order", format!("{which}: {}", list(&minor, "and"))));
    }
    let allergens: Vec<String> =
        label.allergens.iter().map(|one| format!("{} {} %", visible(&one.name), significant(one.percent, 2))).collect();
    if !allergens.is_empty() {
        items.push(("Allergens of the scent", format!("above {ALLERGEN_PERCENT} %: {}", list(&allergens, "and"))));
    }
    items.push(("Content", content(task.bar_g, label.market)));
    items.push((
        "Names",
        match label.market {
            Market::Eu => {
                "in EU style, most recalled and not read: check them; `--market us` has the US style".to_owned()
            }
            Market::Us => {
                "in US style, most recalled and not read: check them; `--market eu` has the EU style".to_owned()
            }
        },
    ));
    items.push(("Also", "who answers for it, with address; batch number; how long it keeps; how to use it".to_owned()));
    items.extend(label.notes.iter().map(|note| (note.about, visible(&note.text))));
    items
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

/// What to mind.
fn mind<'l>(view: &View<'_>, called: &impl Fn(usize) -> &'l str) -> Vec<(&'static str, String)> {
    let mut items = Vec::new();
    let in_list = |names: &[String]| list(&names.iter().map(|one| in_text(one)).collect::<Vec<_>>(), "and");
    if !view.label.nuts.is_empty() {
        let nuts = in_list(&view.label.nuts);
        items.push(("Nuts", format!("From nuts, or by some rules or lots: {nuts}. Say so plainly on the label.")));
    }
    if !view.label.animal.is_empty() {
        let animal = in_list(&view.label.animal);
        items.push(("Origin", format!("From animals: {animal}. The bar is not vegan.")));
    }
    if !view.label.possibly_animal.is_empty() {
        items.push(("Origin", plant_statement(&in_list(&view.label.possibly_animal))));
    }
    if !view.label.sensitisers.is_empty() {
        items.push(("Skin", sensitises(&in_list(&view.label.sensitisers))));
    }
    let unlimited: Vec<String> = view.sheet.unlimited.iter().map(|&index| in_text(called(index))).collect();
    if !unlimited.is_empty() {
        items.push((
            "Scent",
            format!("The lot of {} states no `limit_percent`: read its certificate for what stays on the skin. This tool has no limit of its own.", list(&unlimited, "and")),
        ));
    }
    items.push(("Heat", HEAT.to_owned()));
    items.push((
        "Safety",
        "Check label, claims and safety assessment with your local authority or a safety assessor.".to_owned(),
    ));
    items
}

/// Writes the sheet on a terminal.
pub fn write(output: &mut Output<'_>, words: &Words) -> io::Result<()> {
    let number = words.number.as_ref().map_or_else(|| "no number yet".to_owned(), |number| format!("batch {number}"));
    output.title(&words.title, &number)?;
    output.blank()?;
    output.text(&words.summary, 2)?;
    for sentence in &words.over {
        output.text(sentence, 2)?;
    }

    output.heading("Weigh sheet, in the order of melting")?;
    let [ingredient, percent, weigh, shows] = &words.head;
    let mut table = Sheet::new(&["", ingredient.as_str(), percent, weigh, shows]).right(&[2, 3, 4]);
    for [ingredient, percent, mass, running] in &words.lines {
        table.row(&[BOX, ingredient, percent, mass, running]);
    }
    table.write(output)?;
    for sentence in &words.exactness {
        output.text(&format!("  {sentence}"), 2)?;
    }
    write_jugs(output, words)?;

    for (heading, sentences) in [(POUR, &words.pour), (COOL, &words.cool)] {
        if !sentences.is_empty() {
            output.heading(heading)?;
        }
        for sentence in sentences {
            output.text(&format!("  {sentence}"), 4)?;
        }
    }

    output.heading("At the bench")?;
    for Step { text, fill } in &words.steps {
        let fill = if *fill { format!(": {FILL}") } else { String::new() };
        output.text(&format!("  {BOX} {text}{fill}"), 6)?;
    }
    output.text(&format!("  {}", words.rests), 2)?;

    output.heading("Lots used")?;
    for LotWords { of, lot, mass } in &words.lots {
        let lot = lot.as_deref().unwrap_or(FILL);
        output.text(&format!("  {BOX} {of}, {mass}; lot: {lot}"), 6)?;
    }

    match &words.cost {
        None => {}
        Some(CostWords::Unknown(sentence)) => {
            output.heading("Cost")?;
            output.text(&format!("  {sentence}"), 2)?;
        }
        Some(CostWords::Known(rows, gram)) => {
            output.heading(COST)?;
            let mut table = Sheet::new(&["", "batch", "a bar"]).right(&[1, 2]);
            for row in rows {
                table.row(row);
            }
            table.write(output)?;
            output.text(&format!("  {gram}"), 2)?;
        }
    }
    for (heading, items) in [(LABEL, &words.label), (MIND, &words.mind)] {
        output.heading(heading)?;
        for (about, text) in items {
            output.item(about, text)?;
        }
    }
    Ok(())
}

/// Headings, on the terminal and on the page.
pub const POUR: &str = "Melt and pour";
pub const COOL: &str = "Cool and unmould";
pub const COST: &str = "Cost, in the money of your prices";
pub const LABEL: &str = "Label, a draft";
pub const MIND: &str = "Mind";

impl Words {
    /// Heading of jugs and colours; `None` when there is nothing to part and nothing to colour.
    pub fn jugs_heading(&self) -> Option<&'static str> {
        match (self.jugs.len() > 1, self.colour_rules.is_empty()) {
            (false, true) => None,
            (false, false) => Some("Colour"),
            (true, true) => Some("Jugs"),
            (true, false) => Some("Jugs and colour"),
        }
    }
}

fn write_jugs(output: &mut Output<'_>, words: &Words) -> io::Result<()> {
    let Some(heading) = words.jugs_heading() else { return Ok(()) };
    output.heading(heading)?;
    let colour = |one: &ColourWords| {
        let spoons = one.spoons.as_ref().map_or_else(String::new, |spoons| format!(" ({spoons})"));
        format!("{} {}{spoons}", one.mass, one.name)
    };
    for (index, jug) in words.jugs.iter().enumerate() {
        let colours = jug.colours.iter().map(colour);
        if words.jugs.len() == 1 {
            for colour in colours {
                output.text(&format!("  {BOX} {colour}"), 6)?;
            }
        } else {
            let colours: Vec<String> = colours.collect();
            let colours = if colours.is_empty() { "no colour".to_owned() } else { list(&colours, "and") };
            output.text(&format!("  {BOX} jug {}, {} of melt: {colours}", index + 1, jug.melt), 6)?;
        }
    }
    for rule in &words.colour_rules {
        output.text(&format!("  {rule}"), 2)?;
    }
    Ok(())
}
