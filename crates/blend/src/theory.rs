//! The model on one page: every equation, where its parameters come from, where it holds, and what it must not be used for.
//!
//! # 1. A blend is a distribution over species
//! ```text
//! w_i = Σ_j p_j c_ij            n_i = (w_i / M_i) / Σ (w / M)
//! ```
//! `p_j` mass share of ingredient j in the formula, `c_ij` mass share of species i in ingredient j, `M_i` molar mass, `n_i` moles per
//! mole of blend. Parameters: `data/compositions.csv` with the spread between lots; `data/species.csv`.
//! Code: [`crate::Mixture`].
//!
//! # 2. Equilibrium at temperature T
//! ```text
//! x_i^S = K_i x_i^L,  K_i = γ_i exp[(ΔH_i / R)(1/T − 1/Tm_i) − g_f],  g_f = (w_f / 2) Σ Y_i Y_j u_ij,  ln γ_i = (δ_i − δ̄)²,  δ̄ = Σ x_i^L δ_i
//! E_i = L + K_i S_f,  l_i = n_i L / E_i,  s_i = n_i K_i S_f / E_i
//! 1 − Σ n_i / E_i = 0,  1 − Σ_{i in f} n_i K_i / E_i = 0 for a family present, ≥ 0 for one absent
//! ```
//! One liquid, one ideal solid solution for each crystal family, families do not mix in the solid; n-alkanes, straight acids and straight alcohols more than
//! three carbons from the next length have solutions of their own ([`crate::chain_length`]). γ does not depend on temperature: the
//! excess is taken as entropic. `g` is the misfit of unlike molecules in one crystal, at the overall composition `Y` of its family
//! (`misfit.rs`). Parameters: `Tm`, `ΔH` of each crystal form (`data/species_forms.csv`; measured, handbook, or the
//! correlation of Wesdorp 1990), shifted as a family by the fit, the family of each species (section 3), δ of each liquid class (`data/model.toml`).
//! Source: regular solutions after Hildebrand and Scott (recalled); reduced Gibbs minimum after Michelsen 1994 (recalled).
//! Validity: −60 to 200 °C numerically; meant for −20 to 120 °C; `(δ_max − δ_min)² < 2`, one liquid.
//! Code: [`crate::equilibrium`], proven by `tests/physics`.
//!
//! # 3. Crystal state
//! `fresh`: the less stable form of each triglyceride, saturated and symmetric ones in one solid solution. `rested`, `tempered`: the
//! stable form, symmetric ones each on their own. Waxes have one form; the saturated esters of carnauba crystallise with its diesters and hydroxy
//! esters, not as those of sunflower and rice bran wax do: its gelling level of 4 % and its melting peak ask for that (fitting rows). How long the
//! change takes is not part of the model.
//! Rested and tempered POP and SOS are in β-2, form V of cocoa butter (β-1, form VI, takes months in the solid). That is right only with what each sample was made
//! of and with what is no triglyceride in a fat: 3 % of diglycerides and unsaponifiable matter in stearic butters, 4 to 6 % in the fats of palm, species of their own. For tempered
//! cocoa butters of known triglycerides the sum of squares of the fit falls from 107.6 (β-1, triglycerides alone) to 102.7 (β-2) and 99.6 (with diglycerides).
//! The mixed triglycerides of lauric fats keep the melting points of the correlation for pure ones, also where a chain of 8 carbons lies outside its range; molecules
//! of 28 to 44 carbons in one β′ crystal melt lower by their misfit, which grows with the square of the difference in length, `w` near 2 for four carbons. Coconut oil
//! then keeps 5 % solids at 25 °C, where 1 were measured (18 with one misfit between any two kinds), and peaks at 24.5 °C as measured; at 15 and 20 °C it stays 12 to 14 points too high.
//! Tried and not taken: the excess of each species for itself, with those of odd length lowered most. The curves of coconut and palm kernel oil come out too flat.
//!
//! One change is made while a bar warms. Where the crystals of a fresh bar melt, its trisaturated triglycerides crystallise anew, in β of their own, from the melt that the mixed
//! β′ crystals leave. Two equilibria are solved, with the crystals as they set and with these in β, and each property is that of the crystals that give more of it: all fall with
//! temperature and none jumps. The sum of squares of the fit falls from 102.1 to 47.0. Palm stearin keeps 30, 27 and 21 % at 40, 45 and 50 °C, where 37, 31 and 20 were measured and
//! the first crystals leave 29, 16 and 0; palm oil 5 % at 40 °C (3 and 5 measured, 0 before), but its slip point comes out 3 °C high. A melt that sets does not do it: setting
//! curves take the crystals as they form. Code: `packing.rs`, [`crate::landmarks::Evaluator`].
//! Where the literature leaves another form or family open, it is a packing: a share of the species, fixed while the bar warms, stands in it.
//! Which packings there are is a choice of the fit, their shares are parameters. `data/priors.toml` lists those tried, `data/model.toml` says which are
//! chosen: none of 13 improves the fit enough, so the species table stands. Code: `packing.rs`.
//! Tried and not taken: trisaturated triglycerides of a fresh fat in β from the start, palm stearin has 32 % at 25 °C for 64 then, as POP left alone melts at 27 °C; a higher form of POP
//! with more misfit (β′, `w` up to 3). Not in the model: compounds of two triglycerides (POP with PPO or OPO,
//! SOS with SSO): they are β crystals of rested palm fats, which no row of solids or melting is about.
//!
//! # 4. Landmarks
//! ```text
//! holding(T) = Σ_k 100 φ_k / c_k     slip: holding = 1     drop: holding = d     end: Σ φ = 1 %     clear: max_f Σ x_i γ_i K_i = 1
//! softening: τ(T) = ½ τ(20 °C), or slip where that comes first; none for what slips below 20 °C
//! ```
//! `φ_k` crystallised mass fraction of family k, `c_k` its critical gelling level, mass %. Parameters: `data/model.toml` (published
//! gelling levels of waxes, 4 ± 2 % solids at the slip point of fats; the rest judgement).
//! Tried and not taken: one yield stress at which an open tube slips, in place of the gelling levels. At the levels published for 20 °C the model has 0.08 to 0.19 kPa for rice bran,
//! sunflower, candelilla, berry wax and beeswax, but 2.6 kPa for carnauba, which would gel at 1.1 % for 4: hard crystals, and too few to hold oil. The order softening, slip, drop, clear
//! holds as it is.
//! Code: [`crate::landmarks`].
//!
//! # 5. Firmness
//! ```text
//! φ_eff = Σ s_k h_k φ_k,   τ = τ_0 φ_eff^m,   h_k = [(1 − T/Tm_k) / (1 − 298.15 K / 341.15 K)]^q
//! needle: load · g = τ [N_c π r(p)² + a_f A_flank(p)]     cone: C = K W / p^1.6     punch: F / A = N_c τ     squeezed: F / A = √3 τ
//! ```
//! `Tm_k` mean melting point of the species in the crystals of family k. Parameters: `τ_0`, `m`, `q` and `s_k` of the waxes fitted on needle
//! penetrations (recalled) and probe forces of gels; `s_k` of the long-chain fats is nearly one figure for all their crystals, from the cone yield values
//! of plastic fats (recalled): a figure a family made soy wax go soft threefold as it rested, while makers see it harden. Spread of a factor of about 3
//! either way. How fast the bar cooled is not computed: it is the spread `cast_ln_sd`. Source: Narine and
//! Marangoni 1999 (power law; recalled), Haighton 1959 (cone; read in the abstract), Shield 1955 (bearing factor; recalled).
//! Tried and not taken: a second regime `+ τ_g φ_eff` for the weak links of thin gels (rice bran, 2 to 8 %, rise as `φ^1.35`). It takes the squared errors
//! of those four, in standard deviations, from 2.1 to 0.7 and changes no other row; one more figure should gain 2, and bars in the warm, which have no row, would hold
//! 3 K more on its account.
//! Code: [`crate::firmness`], [`crate::beeswax`], [`crate::penetration`].
//!
//! # 6. Suitability
//! Heuristics, each called one wherever it is shown: finest relief `w = c W / τ_fresh`; warmth, the lower of the temperatures where τ falls
//! to a load and holding to a limit; skin, τ at 20 °C of the bar behind the film (too soft, it smears) and τ at 33 °C of the film (too hard, it drags);
//! grain, a product of three saturating shares. The load is that of a stack of bars times what creep asks in a day: its spread is derived in
//! `data/priors.toml` from the creep exponents read for paraffin. How a bar feels and how long it stands has no data: odds are the model's own.
//! Code: [`crate::suitability`].
//!
//! # 7. Uncertainty
//! Parameters are fitted by `barwright-calibration`: `data/priors.toml` before, `data/model.toml` after, with their correlation
//! ([`crate::coordinate`]). What the model leaves out of a set of ingredients (a shift of all melting points, a factor on holding, one on
//! firmness) is a spread too, set from the scatter of the fitting rows. A spread of solids by itself beside that of melting points was tried: the likelihood of the fitting rows,
//! one vote an experiment, is largest without one. Every figure above has a spread; 256 draws, stratified and named ([`crate::sampling`]), give 5 % and 95 % quantiles. Not in
//! the spread: families that would mix, species nobody listed, a second liquid, time.
//!
//! # Not for
//! Emulsions or anything with water; safety, stability or shelf life; scent limits; liquids near their cloud point (real oils stay liquid for
//! days below it); castor oil with much hydrocarbon oil; a figure of firmness to better than a factor of 3.
//!
//! # Source
//! Given with each equation, and whether it was read or recalled.
//!
//! # Table
//! | function | given | solved for | equations |
//! |---|---|---|---|
//! | [`crate::Mixture::species`] | formula, compositions, a draw | masses of species | 1 |
//! | [`crate::equilibrium::Solver::solve`] | moles, Tm, ΔH, δ, T | L, S_f, δ̄ | 2 |
//! | [`crate::solubility::solid_solubility`] | T, Tm, ΔH, γ | mole fraction dissolved | 2, one solid |
//! | [`crate::landmarks::Evaluator::clear_point_c`] | moles, Tm, ΔH, δ | T of the last crystal | 4, clear |
//! | [`crate::landmarks::Evaluator::highest_c_with`] | a property and its target | T | 4, 6 |
//! | `packing::parts` | shares of the packings | part of a species in each | 3 |
//! | [`crate::chain_length::solutions`] | chain lengths | which share a crystal | 2 |
//! | `misfit::lower_melting_points` | amounts, w | Tm of each species | 2 |
//! | `firmness::structure` | φ, Tm of the crystals, T | φ_eff | 5 |
//! | `firmness::yield_kpa` | φ_eff | τ | 5 |
//! | [`crate::penetration::yield_kpa_from_punch`] | stress on a flat punch | τ | 5 |
//! | [`crate::penetration::yield_kpa_from_compression`] | stress on a squeezed cylinder | τ | 5 |
//! | `beeswax::percent_of` | φ_eff and that of beeswax in oil | mass % of beeswax | 5 |
//! | [`crate::penetration::needle_dmm_from_yield`] | τ | depth of the needle | 5 |
//! | [`crate::penetration::cone_yield`] | cone, mass, depth | cone yield value | 5 |
//! | [`crate::suitability::finest_feature_mm`] | τ_fresh | finest relief | 6 |
//! | [`crate::suitability::grain_index`] | shares of the bar | index 0 to 1 | 6 |
//! | [`crate::assess()`] | formula, options | every figure with its interval | 1 to 7 |
//! | [`crate::compare()`] | formulas, options | differences, draw by draw | 1 to 7 |
