//! What the documentation of a public function of the library must say. The test names every function that leaves something out.
//!
//! A function is public here when it is `pub`, outside of tests, in whatever module.
//!
//! * It has a purpose, and sections in the order of the house: [`SECTIONS`].
//! * Every number that it takes or returns has its unit, in a name (`_c`, `_kpa`) or in words (`mass %`): [`UNITS`].
//! * `# Errors` is there if and only if it returns a `Result`.
//! * A source is there for what is published. Syntax cannot tell what that is, so it is demanded of whatever states an equation, of a function that returns a
//!   number and calls one of [`TRANSCENDENTAL`], and of a file that names one of [`METHODS`]. It may be the function's, the file's or that of a module above, and
//!   says how well it is known ([`KNOWN`]): read, recalled, textbook, or our own.

use std::collections::BTreeMap;
use std::path::Path;

use syn::visit::{self, Visit};
use syn::{Attribute, Block, Expr, FnArg, ImplItemFn, ItemFn, ItemImpl, ItemMod, ItemTrait, Lit, Meta, Pat, Signature};
use syn::{ReturnType, TraitItemFn, Type, Visibility};

use crate::uses::{self, Module};

/// The crates of the library.
const CRATES: [&str; 9] =
    ["answer", "barwright", "blend", "calibration", "heat", "making", "reference", "reformulate", "trials"];

/// Sections of a function's documentation, in order.
const SECTIONS: [&str; 6] = ["Arguments", "Returns", "Errors", "Validity", "Example", "Source"];

/// Draws what it is given, in the unit of an axis or of the sheet.
const DRAWING: &str = "answer::picture";

/// Types that hold numbers with a unit.
const NUMBERS: [&str; 3] = ["f64", "f32", "Estimate"];

/// Words that tell a unit, or that there is none, or that it is the caller's.
const UNITS: &str = "°C K Celsius kelvin Pa kPa hPa mPa g kg grams m mm dmm millimetres m² mm² m³ kg² ml litres s min h hours days J kJ W mol moles Moles pixels
    % percent share shares fraction ratio probability chance factor dimensionless index logarithm logarithms score scores deviations
    unit units scale currency";

/// Parts of a name that tell a unit, behind another part; words also alone.
const SUFFIXES: &str = "c k pa kpa hpa g kg grams m mm dmm ml s h hours days j w mol percent share shares fraction probability ratio factor celsius millimetres";

/// Functions that a number is seldom made by without a formula. Not `ln`, `sqrt` and `powf`: they measure ratios, distances and decades.
const TRANSCENDENTAL: [&str; 8] = ["exp", "exp2", "exp_m1", "ln_1p", "cbrt", "sin", "cos", "tan"];

/// Names of published methods and relations.
const METHODS: &str = "Newton, Gauss, Marquardt, Lagrange, Laplace, Halton, SplitMix64, Latin hypercube, olden section, Bisection, Illinois, TR-BDF2, conjugate gradients,
    simplex, Pareto, largest remainder, regular solution, Michelsen, Margules, Wesdorp, Haighton, Shield, von Mises, Nusselt, Magnus, power law";

/// What a source says of how well it is known; or it points elsewhere.
const KNOWN: &[&str] = &["read", "recalled", "textbook", "quoted", "own", "common practice", "As ", "See "];

/// Documentation by section; what stands before the first is without a name. Code is left out.
type Sections<'a> = Vec<(&'a str, Vec<&'a str>)>;

fn lines_of(attributes: &[Attribute]) -> Vec<String> {
    let line = |attribute: &Attribute| match &attribute.meta {
        Meta::NameValue(pair) if pair.path.is_ident("doc") => match &pair.value {
            Expr::Lit(literal) => match &literal.lit {
                Lit::Str(text) => Some(text.value().trim().to_owned()),
                _ => None,
            },
            _ => None,
        },
        _ => None,
    };
    attributes.iter().filter_map(line).collect()
}

fn sections(lines: &[String]) -> Sections<'_> {
    let (mut sections, mut code) = (vec![("", Vec::new())], false);
    for line in lines {
        if line.starts_with("```") {
            code = !code;
        } else if let Some(name) = line.strip_prefix("# ").filter(|_| !code) {
            sections.push((name, Vec::new()));
        } else if !code && !line.is_empty() {
            sections.last_mut().unwrap().1.push(line.as_str());
        }
    }
    sections
}

fn section<'a>(sections: &'a Sections<'_>, name: &str) -> Option<&'a Vec<&'a str>> {
    sections.iter().find(|(one, _)| *one == name).map(|(_, lines)| lines)
}

fn source<'a>(sections: &'a Sections<'_>) -> Option<&'a Vec<&'a str>> {
    section(sections, "Source").or_else(|| section(sections, "Sources"))
}

/// Whether there is a source that does not say how well it is known.
fn is_vague(sections: &Sections<'_>) -> bool {
    source(sections).is_some_and(|lines| !KNOWN.iter().any(|word| lines.iter().any(|line| line.contains(word))))
}

/// The text of an argument's point in a list (`` * `name`: ... ``).
fn point_of(arguments: &[&str], name: &str) -> Option<String> {
    let of = |line: &&&str| {
        line.strip_prefix("* ")
            .is_some_and(|line| line.split_once(": ").map_or(line, |(names, _)| names).contains(&format!("`{name}`")))
    };
    let first = arguments.iter().position(|line| of(&line))?;
    let rest = arguments[first + 1..].iter().take_while(|line| !line.starts_with("* "));
    Some(std::iter::once(&arguments[first]).chain(rest).copied().collect::<Vec<_>>().join(" "))
}

/// Whether words tell a unit, or say that it is told elsewhere.
fn tells_unit(text: &str) -> bool {
    let joined = |one: char| one.is_alphanumeric() || "°%²³".contains(one);
    let refers = ["as [`", "As [`", "as for [`", "As for [`", "inverse of"].iter().any(|word| text.contains(word));
    refers || text.split(|one| !joined(one)).any(|word| UNITS.split_whitespace().any(|unit| unit == word))
}

/// Whether a name tells a unit.
fn names_unit(name: &str) -> bool {
    let parts: Vec<&str> = name.split('_').collect();
    let tells =
        |part: &&str| (parts.len() > 1 || part.len() > 3) && SUFFIXES.split_whitespace().any(|unit| unit == *part);
    parts.iter().any(tells)
}

/// Whether documentation states an equation: a block of `text`, or code between the words such as `` `h = k / l` ``.
fn states_equation(lines: &[String]) -> bool {
    let equates = |code: &str| code.contains(" = ") && code.contains(['/', '·', '×', '−', '+', '√', '^', '(']);
    let mut example = false;
    lines.iter().any(|line| {
        example ^= line.starts_with("```");
        line == "```text" || !example && line.split('`').skip(1).step_by(2).any(equates)
    })
}

/// Finds numbers in a type.
struct Numbers(bool);

impl<'a> Visit<'a> for Numbers {
    fn visit_ident(&mut self, ident: &'a syn::Ident) {
        self.0 |= NUMBERS.iter().any(|number| ident == number);
    }
}

fn has_numbers(kind: &Type) -> bool {
    let mut numbers = Numbers(false);
    numbers.visit_type(kind);
    numbers.0
}

/// Finds calls of transcendental functions.
struct Calls(bool);

impl<'a> Visit<'a> for Calls {
    fn visit_expr_method_call(&mut self, call: &'a syn::ExprMethodCall) {
        self.0 |= TRANSCENDENTAL.iter().any(|name| call.method == name);
        visit::visit_expr_method_call(self, call);
    }
}

fn calls_transcendental(body: &Block) -> bool {
    let mut calls = Calls(false);
    calls.visit_block(body);
    calls.0
}

fn is_result(output: &Type) -> bool {
    matches!(output, Type::Path(path) if path.path.segments.last().is_some_and(|last| last.ident == "Result"))
}

/// Reads the functions of a file.
struct Reader {
    /// Crate, module and type.
    path: Vec<String>,
    /// Whether the file or a module above has a source.
    sourced: bool,
    functions: usize,
    /// What is missing, with the function it is missing of.
    missing: Vec<String>,
    /// Every line of documentation.
    lines: Vec<String>,
}

impl Reader {
    /// Reads a function, and notes what is missing.
    fn function(&mut self, attributes: &[Attribute], signature: &Signature, body: Option<&Block>) {
        self.functions += 1;
        let lines = lines_of(attributes);
        let sections = sections(&lines);
        let name = signature.ident.to_string();
        let path = format!("{}::{name}", self.path.join("::"));
        let mut miss = |what: String| self.missing.push(format!("{path}: {what}"));
        let purpose = sections[0].1.join(" ");
        if purpose.is_empty() {
            miss("purpose".to_owned());
        }
        let places: Vec<_> =
            sections[1..].iter().map(|(one, _)| SECTIONS.iter().position(|name| name == one)).collect();
        if places.contains(&None) || !places.is_sorted() {
            let names: Vec<&str> = sections[1..].iter().map(|(one, _)| *one).collect();
            miss(format!("order of sections, {}", names.join(", ")));
        }

        let arguments = section(&sections, "Arguments");
        for argument in &signature.inputs {
            let FnArg::Typed(argument) = argument else { continue };
            let Pat::Ident(of) = &*argument.pat else { continue };
            let of = of.ident.to_string();
            let words = arguments
                .and_then(|lines| point_of(lines, &of))
                .unwrap_or_else(|| purpose.clone() + " " + &arguments.map(|lines| lines.join(" ")).unwrap_or_default());
            if has_numbers(&argument.ty) && !names_unit(&of) && !tells_unit(&words) {
                miss(format!("unit of `{of}`"));
            }
        }
        let output = match &signature.output {
            ReturnType::Default => None,
            ReturnType::Type(_, kind) => Some(&**kind),
        };
        let returns = output.is_some_and(has_numbers);
        let words = section(&sections, "Returns").map_or(purpose, |lines| lines.join(" "));
        if returns && !names_unit(&name) && !tells_unit(&words) {
            miss("unit of what it returns".to_owned());
        }
        if output.is_some_and(is_result) != section(&sections, "Errors").is_some() {
            miss("errors, or a `Result`".to_owned());
        }
        let published = states_equation(&lines) || returns && body.is_some_and(calls_transcendental);
        if published && !self.sourced && source(&sections).is_none() {
            miss("source".to_owned());
        }
        if is_vague(&sections) {
            miss("how well its source is known".to_owned());
        }
    }
}

impl<'a> Visit<'a> for Reader {
    fn visit_attribute(&mut self, attribute: &'a Attribute) {
        self.lines.extend(lines_of(std::slice::from_ref(attribute)));
    }

    fn visit_item_mod(&mut self, item: &'a ItemMod) {
        if !uses::is_for_tests(&item.attrs) {
            self.path.push(item.ident.to_string());
            visit::visit_item_mod(self, item);
            self.path.pop();
        }
    }

    fn visit_item_impl(&mut self, item: &'a ItemImpl) {
        let name = match &*item.self_ty {
            Type::Path(path) => path.path.segments.last().map(|last| last.ident.to_string()).unwrap_or_default(),
            _ => String::new(),
        };
        self.path.push(name);
        visit::visit_item_impl(self, item);
        self.path.pop();
    }

    fn visit_item_trait(&mut self, item: &'a ItemTrait) {
        self.path.push(item.ident.to_string());
        visit::visit_item_trait(self, item);
        self.path.pop();
    }

    fn visit_item_fn(&mut self, item: &'a ItemFn) {
        if matches!(item.vis, Visibility::Public(_)) && !uses::is_for_tests(&item.attrs) {
            self.function(&item.attrs, &item.sig, Some(&item.block));
        }
        visit::visit_item_fn(self, item);
    }

    fn visit_impl_item_fn(&mut self, item: &'a ImplItemFn) {
        if matches!(item.vis, Visibility::Public(_)) {
            self.function(&item.attrs, &item.sig, Some(&item.block));
        }
        visit::visit_impl_item_fn(self, item);
    }

    fn visit_trait_item_fn(&mut self, item: &'a TraitItemFn) {
        self.function(&item.attrs, &item.sig, item.default.as_ref());
        visit::visit_trait_item_fn(self, item);
    }
}

/// Reads the files of a crate: how many functions there are, and what is missing.
fn read(name: &str, files: &BTreeMap<Module, syn::File>) -> (usize, Vec<String>) {
    let (mut functions, mut missing) = (0, Vec::new());
    let docs: BTreeMap<&[String], Vec<String>> =
        files.iter().map(|(module, file)| (&module[..], lines_of(&file.attrs))).collect();
    let sourced = |module: &[String]| docs.get(module).is_some_and(|lines| source(&sections(lines)).is_some());
    for (module, file) in files {
        let path: Vec<String> = std::iter::once(name.to_owned()).chain(module.iter().cloned()).collect();
        let of = path.join("::");
        let above = (1..=module.len()).any(|length| sourced(&module[..length]));
        if of.starts_with(DRAWING) {
            continue;
        }
        let mut reader = Reader { path, sourced: above, functions: 0, missing: Vec::new(), lines: Vec::new() };
        reader.visit_file(file);
        functions += reader.functions;
        missing.append(&mut reader.missing);
        let own = &docs[&module[..]];
        if is_vague(&sections(own)) {
            missing.push(format!("{of}: how well its source is known"));
        }
        let named = METHODS.split(',').map(str::trim).find(|name| reader.lines.iter().any(|line| line.contains(name)));
        let asks = named.or(states_equation(own).then_some("its equation"));
        if let Some(what) = asks.filter(|_| !above && !reader.lines.iter().any(|line| line.starts_with("# Source"))) {
            missing.push(format!("{of}: source of {what}"));
        }
    }
    (functions, missing)
}

#[test]
fn every_public_function_says_what_it_must() {
    let (mut functions, mut missing) = (0, Vec::new());
    for name in CRATES {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("crates").join(name).join("src/lib.rs");
        let (more, mut found) = read(name, &uses::files(&root));
        functions += more;
        missing.append(&mut found);
    }
    assert!(functions > 500, "{functions}");
    assert!(missing.is_empty(), "{} things are missing:\n{}", missing.len(), missing.join("\n"));
}

#[test]
fn what_is_missing_is_named() {
    let missing = |file: &str| {
        let files = BTreeMap::from([(vec!["m".to_owned()], syn::parse_file(file).unwrap())]);
        read("a", &files).1
    };
    let whole = "
        /// The stress of a punch, kPa.
        ///
        /// `t = F / (6 A)`
        ///
        /// # Arguments
        /// * `force`: N, or kg of mass.
        ///
        /// # Errors
        /// None.
        ///
        /// # Source
        /// Shield 1955 (recalled).
        pub fn stress(force: f64) -> Result<f64, E> { Ok(force.exp()) }";
    assert_eq!(missing(whole), [""; 0]);
    for (taken, instead, named) in [
        (", kPa", "", vec!["a::m::stress: unit of what it returns"]),
        (": N, or kg of mass", "", vec!["a::m::stress: unit of `force`"]),
        (
            "# Errors",
            "# Faults",
            vec!["a::m::stress: order of sections, Arguments, Faults, Source", "a::m::stress: errors, or a `Result`"],
        ),
        ("Result<f64, E>", "f64", vec!["a::m::stress: errors, or a `Result`"]),
        ("# Source", "", vec!["a::m::stress: source", "a::m: source of Shield"]),
        ("(recalled)", "", vec!["a::m::stress: how well its source is known"]),
    ] {
        assert_eq!(missing(&whole.replace(taken, instead)), named, "{taken}");
    }
    assert_eq!(missing("pub fn stress() {}"), ["a::m::stress: purpose"]);
    let private = whole.replace("pub fn", "fn");
    assert_eq!(missing(&private), [""; 0]);
    assert_eq!(
        missing("//! # Source\n//! Textbook; our own.\n/// A share, by `s = e`.\npub fn f() -> f64 { 1.0 }"),
        [""; 0]
    );
}
