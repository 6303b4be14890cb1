//! Whole answers with their figures. They change with every calibration of the model: regenerate them, then read the diff.

use insta::assert_snapshot;

use crate::{demo_folder, run_in};

#[test]
fn assess_in_full() {
    assert_snapshot!(run_in(demo_folder(), &["assess", "fern-hand-bar-winter.toml"], b"").shown(), @"
    exit 0
    stdout:
    Fern hand bar, winter  (rested)
    A gardener's hand bar in a fern-relief mould, for cold sheds: soft enough to glide on
    cold hands.

    Firm enough for fine detail: open. Relief of 0.8 mm may or may not leave the mould whole
      at 20 °C (62 in 100). Finest relief: 0.69 mm (0.22 to 2.4).
    At 20 °C, once rested, it is as firm as liquid oil with 42 % (37 to 48) beeswax in it.
    Keeps its shape for a day up to 41 °C (33 to 48); at 40 °C: open, 58 in 100.
    On skin it glides (60 in 100): 80 % (76 to 82) of it is melted at 33 °C.
    Risk of grain when cooled slowly: low, 0.04 on a scale from 0 to 1.
    Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    Parts, % by mass
      group    ingredient      part   group sum
     ───────────────────────────────────────────
      wax      Beeswax         26.0        26.0
      butter   Mango butter    22.0        32.0
               Shea butter     10.0
      liquid   Sunflower oil   30.0        42.0
               Jojoba oil      12.0

    Melting
      landmark          °C              test
     ─────────────────────────────────────────────────────────────────────────────────────────
      softening onset   27 (26 to 29)   half the firmness of 20 °C is gone; needle at several
                                        temperatures, ASTM D1321
      slip point        55 (52 to 58)   open tube; ISO 6321, AOCS Cc 3-25
      drop point        57 (54 to 60)   falling drop; AOCS Cc 18-80, ASTM D127
      end of melting    57 (55 to 61)   1 % of crystals left; calorimetry, AOCS Cj 1-94
      clear point       60 (57 to 64)   last crystal gone; AOCS Cc 1-25

    Solids and firmness
      °C   solids, %       yield stress, kPa   as firm as beeswax in oil, %   needle, 0.1 mm
     ──────────────────────────────────────────────────────────────────────────────────────────────
      20   36 (34 to 38)   60 (24 to 160)      42 (37 to 48)                  97 (41 to 250)
      25   32 (30 to 34)   38 (14 to 100)      38 (33 to 43)                  160 (54 to over 250)
      30   26 (22 to 29)   20 (7.0 to 59)      33 (27 to 37)                  over 250
      35   19 (16 to 20)   7.2 (2.1 to 22)     25 (22 to 26)                  over 250

    What this rests on
      Composition: 58 figures, 34 quoted from memory of their source (58 % of the mass) and
      24 estimated (42 % of the mass).
      In brackets: 90 % intervals from 256 trial computations (seed 20) over lots, melting
      points and model parameters.

    Mind
      Nuts: Nut-derived: shea butter. Say so plainly on the label.
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.
    ");
}

#[test]
fn compare_in_full() {
    let arguments = ["compare", "fern-hand-bar-winter.toml", "fern-hand-bar-summer.toml"];
    assert_snapshot!(run_in(demo_folder(), &arguments, b"").shown(), @"
    exit 0
    stdout:
    Fern hand bar, winter and Fern hand bar, summer  (rested)

    What decides
      Fern hand bar, summer is firmer: 1.9 times at 20 °C, 1.9 times at 25 °C, 2.2 times at
        30 °C and 2.8 times at 35 °C; at least 87 in 100 sure.
      Fern hand bar, summer takes finer relief: 0.31 (0.10 to 1.1) against 0.69 (0.22 to
        2.4) mm; 93 in 100 sure.
      Fern hand bar, summer keeps its shape 5 °C hotter: 46 (41 to 51) against 41 (33 to 48) °C;
        98 in 100 sure.
      Fern hand bar, winter melts more on skin: 80 (76 to 82) against 73 (69 to 75) %; over
        99 in 100 sure.

    Which to pour
      Summer post: Fern hand bar, summer (keeps its shape up to 46 °C (41 to 51); 98 in 100
        sure).
      Finest detail: Fern hand bar, summer (finest relief 0.31 mm (0.10 to 1.1); 93 in 100
        sure).
      Skin: Fern hand bar, summer (97 in 100) and Fern hand bar, winter (60 in 100) glide.

    Side by side
                                      Fern hand bar, winter   Fern hand bar, summer
     ───────────────────────────────────────────────────────────────────────────────
      fine detail, 0.8 mm             open (62 in 100)        yes (91 in 100)
      finest relief, mm               0.69 (0.22 to 2.4)      0.31 (0.10 to 1.1)
      holds 40 °C                     open (58 in 100)        yes (97 in 100)
      keeps its shape to, °C          41 (33 to 48)           46 (41 to 51)
      on skin                         glides (60 in 100)      glides (97 in 100)
      melted on skin, %               80 (76 to 82)           73 (69 to 75)
      risk of grain, 0 to 1           0.04                    0.03
      softening onset, °C             27 (26 to 29)           28 (26 to 31)
      slip point, °C                  55 (52 to 58)           56 (54 to 59)
      drop point, °C                  57 (54 to 60)           57 (55 to 61)
      end of melting, °C              57 (55 to 61)           59 (56 to 64)
      clear point, °C                 60 (57 to 64)           62 (59 to 66)
      solids at 20 °C, %              36 (34 to 38)           44 (41 to 46)
      solids at 25 °C, %              32 (30 to 34)           39 (37 to 41)
      solids at 30 °C, %              26 (22 to 29)           34 (30 to 37)
      solids at 35 °C, %              19 (16 to 20)           25 (23 to 27)
      yield stress at 20 °C, kPa      60 (24 to 160)          110 (45 to 310)
      yield stress at 25 °C, kPa      38 (14 to 100)          73 (29 to 200)
      yield stress at 30 °C, kPa      20 (7.0 to 59)          46 (17 to 120)
      yield stress at 35 °C, kPa      7.2 (2.1 to 22)         20 (7.0 to 56)
      as beeswax in oil at 20 °C, %   42 (37 to 48)           53 (47 to 60)
      as beeswax in oil at 25 °C, %   38 (33 to 43)           49 (43 to 55)
      as beeswax in oil at 30 °C, %   33 (27 to 37)           44 (38 to 50)
      as beeswax in oil at 35 °C, %   25 (22 to 26)           36 (32 to 39)
      needle at 20 °C, 0.1 mm         97 (41 to 250)          51 (28 to 130)
      needle at 25 °C, 0.1 mm         160 (54 to over 250)    78 (36 to 210)
      needle at 30 °C, 0.1 mm         over 250                130 (49 to over 250)
      needle at 35 °C, 0.1 mm         over 250                over 250
      Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    Parts, % by mass
                         Fern hand bar, winter   Fern hand bar, summer
     ──────────────────────────────────────────────────────────────────
      wax                                 26.0                    33.0
        Beeswax                           26.0                    28.0
        Candelilla wax                       –                     5.0
      butter                              32.0                    33.0
        Mango butter                      22.0                    25.0
        Shea butter                       10.0                     8.0
      liquid                              42.0                    34.0
        Sunflower oil                     30.0                    24.0
        Jojoba oil                        12.0                    10.0

    Too small or too unsure to matter
      Slip point, softening onset and risk of grain.

    Mind
      Nuts: Nut-derived: shea butter. Say so plainly on the label.
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.

    In brackets: 90 % intervals from 256 trial computations (seed 20) over lots, melting
    points and model parameters.
    ");
}
