//! The scenario: invented parks, people and animals. None of it is measured or real.

use super::masses::Course;
use holt_proto::v1::{MarkKind, Role, Sex};

/// A park.
pub(super) struct Park {
    pub code: &'static str,
    pub name: &'static str,
    pub zone: &'static str,
    pub licence: &'static str,
    pub enclosures: &'static [(&'static str, bool, i32)],
}

pub(super) const PARKS: [Park; 3] = [
    Park {
        code: "QUI",
        name: "Quillmoor Park",
        zone: "Europe/Dublin",
        licence: "QM/2024/017",
        enclosures: &[("Burrow House", true, 16), ("Weir Pool", false, 4), ("Quiet Room", true, 2)],
    },
    Park {
        code: "BRA",
        name: "Brackwater Gardens",
        zone: "America/Halifax",
        licence: "NS-0442",
        enclosures: &[("Prairie Bank", false, 14), ("Lagoon", false, 20), ("Sand House", true, 8)],
    },
    Park {
        code: "SOL",
        name: "Solvik Djurpark",
        zone: "Europe/Stockholm",
        licence: "SOL-88-3",
        enclosures: &[("Stream Hall", true, 6), ("Canopy", true, 10)],
    },
];

/// Scientific name, common name.
pub(super) const SPECIES: [(&str, &str); 5] = [
    ("Mungos mungo", "banded mongoose"),
    ("Lontra canadensis", "North American river otter"),
    ("Cynomys ludovicianus", "black-tailed prairie dog"),
    ("Callithrix jacchus", "common marmoset"),
    ("Phoenicopterus chilensis", "Chilean flamingo"),
];

/// Sign-in name, name, role, park.
pub(super) const PEOPLE: [(&str, &str, Role, &str); 10] = [
    ("nuala", "Nuala Breen", Role::Keeper, "QUI"),
    ("tadhg", "Tadhg Lowe", Role::Registrar, "QUI"),
    ("iris", "Iris Okafor", Role::Veterinary, "QUI"),
    ("marcel", "Marcel Aucoin", Role::Keeper, "BRA"),
    ("joan", "Joan Petrie", Role::Registrar, "BRA"),
    ("elin", "Elin Sandberg", Role::Keeper, "SOL"),
    ("axel", "Axel Lindh", Role::Registrar, "SOL"),
    ("ruth", "Ruth Adeyemi", Role::Auditor, ""),
    ("oskar", "Oskar Vane", Role::Steward, ""),
    ("petra", "Petra Lindqvist", Role::Curator, ""),
];

/// How an animal came.
#[derive(Clone, Copy)]
pub(super) enum Came {
    /// Was at the park before its records were kept here; born in this month.
    Before(&'static str),
    /// Born there, so many weeks after the first.
    Born(i64),
    /// Came from a collection outside, so many weeks after the first; born in this month.
    From(&'static str, i64, &'static str),
}

/// An animal.
pub(super) struct Beast {
    pub park: &'static str,
    pub species: usize,
    pub name: &'static str,
    pub sex: Sex,
    pub came: Came,
    pub dam: &'static str,
    pub sire: &'static str,
    pub mark: (MarkKind, &'static str),
    pub enclosure: &'static str,
    pub course: Course,
}

const F: Sex = Sex::Female;
const M: Sex = Sex::Male;
const NONE: (MarkKind, &str) = (MarkKind::Unspecified, "");

const fn chip(code: &'static str) -> (MarkKind, &'static str) {
    (MarkKind::Transponder, code)
}

const fn ring(code: &'static str) -> (MarkKind, &'static str) {
    (MarkKind::Ring, code)
}

#[expect(clippy::too_many_arguments, reason = "a row of a table, in the order of its columns")]
const fn beast(
    park: &'static str,
    species: usize,
    name: &'static str,
    sex: Sex,
    came: Came,
    parents: (&'static str, &'static str),
    mark: (MarkKind, &'static str),
    enclosure: &'static str,
    course: Course,
) -> Beast {
    Beast { park, species, name, sex, came, dam: parents.0, sire: parents.1, mark, enclosure, course }
}

use Came::{Before, Born, From};
use Course::{Adult, Losing, Refusing, Seasonal, Young};

const PAIR: (&str, &str) = ("Juniper", "Alder");
const ORPHAN: (&str, &str) = ("", "");

pub(super) const BEASTS: [Beast; 46] = [
    // The family in the Burrow House: a breeding pair, their grown young, and last year's litter.
    beast(
        "QUI",
        0,
        "Juniper",
        F,
        Before("2020-06"),
        ORPHAN,
        chip("372098100412301"),
        "Burrow House",
        Adult(1480.0),
    ),
    beast(
        "QUI",
        0,
        "Alder",
        M,
        Before("2019-09"),
        ORPHAN,
        chip("372098100412302"),
        "Burrow House",
        Adult(1560.0),
    ),
    beast(
        "QUI",
        0,
        "Sorrel",
        F,
        Before("2022-05"),
        PAIR,
        chip("372098100412311"),
        "Burrow House",
        Adult(1390.0),
    ),
    beast(
        "QUI",
        0,
        "Rowan",
        M,
        Before("2022-05"),
        PAIR,
        chip("372098100412312"),
        "Burrow House",
        Adult(1450.0),
    ),
    beast(
        "QUI",
        0,
        "Hazel",
        F,
        Before("2023-04"),
        PAIR,
        chip("372098100412321"),
        "Burrow House",
        Adult(1350.0),
    ),
    // Kept off her food by the others: she loses about one percent a week, bit by bit.
    beast(
        "QUI",
        0,
        "Fennel",
        F,
        Before("2023-04"),
        PAIR,
        chip("372098100412322"),
        "Burrow House",
        Losing(1340.0, 10),
    ),
    beast(
        "QUI",
        0,
        "Larch",
        M,
        Before("2023-04"),
        PAIR,
        chip("372098100412323"),
        "Burrow House",
        Adult(1420.0),
    ),
    beast(
        "QUI",
        0,
        "Aspen",
        M,
        Before("2024-03"),
        PAIR,
        chip("372098100412331"),
        "Burrow House",
        Adult(1380.0),
    ),
    beast(
        "QUI",
        0,
        "Teasel",
        F,
        Before("2024-03"),
        PAIR,
        chip("372098100412332"),
        "Burrow House",
        Adult(1330.0),
    ),
    beast("QUI", 0, "Clover", F, Born(14), PAIR, chip("372098100412341"), "Burrow House", Young(1320.0)),
    beast("QUI", 0, "Yarrow", M, Born(14), PAIR, chip("372098100412342"), "Burrow House", Young(1400.0)),
    beast("QUI", 0, "Bracken", M, Born(14), PAIR, chip("372098100412343"), "Burrow House", Young(1390.0)),
    beast("QUI", 0, "Tansy", F, Born(14), PAIR, NONE, "Burrow House", Young(1300.0)),
    // Otters.
    beast(
        "QUI",
        1,
        "Ripple",
        F,
        Before("2018-04"),
        ORPHAN,
        chip("985112003001001"),
        "Weir Pool",
        Adult(7900.0),
    ),
    // Would not come to the scale any more, four weeks running.
    beast(
        "QUI",
        1,
        "Moss",
        M,
        Before("2017-03"),
        ORPHAN,
        chip("985112003001002"),
        "Weir Pool",
        Refusing(9600.0, 4),
    ),
    beast(
        "QUI",
        1,
        "Brook",
        M,
        Before("2023-03"),
        ("Ripple", "Moss"),
        chip("985112003001003"),
        "Weir Pool",
        Adult(9100.0),
    ),
    beast(
        "SOL",
        1,
        "Eddy",
        M,
        Before("2019-05"),
        ORPHAN,
        chip("752098100700111"),
        "Stream Hall",
        Adult(9300.0),
    ),
    beast(
        "SOL",
        1,
        "Pebble",
        F,
        Before("2020-04"),
        ORPHAN,
        chip("752098100700112"),
        "Stream Hall",
        Adult(8100.0),
    ),
    // Two brothers without a partner.
    beast(
        "BRA",
        0,
        "Thistle",
        M,
        From("Fenwater Collection", 20, "2022-08"),
        ORPHAN,
        chip("124000500600201"),
        "Sand House",
        Adult(1520.0),
    ),
    beast(
        "BRA",
        0,
        "Nettle",
        M,
        From("Fenwater Collection", 20, "2022-08"),
        ORPHAN,
        chip("124000500600202"),
        "Sand House",
        Adult(1490.0),
    ),
    // A prairie dog colony that fattens in autumn.
    beast(
        "BRA",
        2,
        "Dune",
        M,
        Before("2021-04"),
        ORPHAN,
        chip("124000500600301"),
        "Prairie Bank",
        Seasonal(1080.0),
    ),
    beast(
        "BRA",
        2,
        "Mesa",
        F,
        Before("2021-04"),
        ORPHAN,
        chip("124000500600302"),
        "Prairie Bank",
        Seasonal(890.0),
    ),
    beast(
        "BRA",
        2,
        "Butte",
        F,
        Before("2022-04"),
        ORPHAN,
        chip("124000500600303"),
        "Prairie Bank",
        Seasonal(870.0),
    ),
    beast(
        "BRA",
        2,
        "Canyon",
        M,
        Before("2022-04"),
        ORPHAN,
        chip("124000500600304"),
        "Prairie Bank",
        Seasonal(1020.0),
    ),
    beast(
        "BRA",
        2,
        "Prairie",
        F,
        Before("2023-04"),
        ("Mesa", "Dune"),
        chip("124000500600305"),
        "Prairie Bank",
        Seasonal(860.0),
    ),
    beast(
        "BRA",
        2,
        "Sage",
        F,
        Before("2023-04"),
        ("Mesa", "Dune"),
        chip("124000500600306"),
        "Prairie Bank",
        Seasonal(850.0),
    ),
    beast(
        "BRA",
        2,
        "Flint",
        M,
        Before("2023-04"),
        ("Butte", "Dune"),
        chip("124000500600307"),
        "Prairie Bank",
        Seasonal(980.0),
    ),
    beast(
        "BRA",
        2,
        "Ochre",
        M,
        Before("2024-04"),
        ("Butte", "Canyon"),
        NONE,
        "Prairie Bank",
        Seasonal(960.0),
    ),
    beast(
        "BRA",
        2,
        "Umber",
        F,
        Before("2024-04"),
        ("Butte", "Canyon"),
        NONE,
        "Prairie Bank",
        Seasonal(840.0),
    ),
    beast(
        "BRA",
        2,
        "Sienna",
        F,
        Before("2024-04"),
        ("Mesa", "Canyon"),
        NONE,
        "Prairie Bank",
        Seasonal(835.0),
    ),
    // Flamingos, weighed when they are caught up, and known by their rings.
    beast("BRA", 4, "", F, Before("2009"), ORPHAN, ring("CF-101"), "Lagoon", Adult(2450.0)),
    beast("BRA", 4, "", M, Before("2009"), ORPHAN, ring("CF-102"), "Lagoon", Adult(2870.0)),
    beast("BRA", 4, "", F, Before("2012"), ORPHAN, ring("CF-107"), "Lagoon", Adult(2380.0)),
    beast("BRA", 4, "", M, Before("2012"), ORPHAN, ring("CF-108"), "Lagoon", Adult(2790.0)),
    beast("BRA", 4, "", F, Before("2015"), ORPHAN, ring("CF-113"), "Lagoon", Adult(2410.0)),
    beast("BRA", 4, "", M, Before("2015"), ORPHAN, ring("CF-114"), "Lagoon", Adult(2820.0)),
    beast("BRA", 4, "", F, Before("2018"), ORPHAN, ring("CF-120"), "Lagoon", Adult(2330.0)),
    beast("BRA", 4, "", Sex::Unknown, Before("2023"), ORPHAN, ring("CF-131"), "Lagoon", Adult(2500.0)),
    // Marmosets.
    beast("SOL", 3, "Birch", F, Before("2018-02"), ORPHAN, chip("752098100700201"), "Canopy", Adult(372.0)),
    beast("SOL", 3, "Lichen", M, Before("2017-10"), ORPHAN, chip("752098100700202"), "Canopy", Adult(361.0)),
    beast(
        "SOL",
        3,
        "Fern",
        F,
        Before("2021-01"),
        ("Birch", "Lichen"),
        chip("752098100700203"),
        "Canopy",
        Adult(348.0),
    ),
    beast(
        "SOL",
        3,
        "Spruce",
        M,
        Before("2021-01"),
        ("Birch", "Lichen"),
        chip("752098100700204"),
        "Canopy",
        Adult(355.0),
    ),
    beast(
        "SOL",
        3,
        "Heather",
        F,
        Before("2022-07"),
        ("Birch", "Lichen"),
        chip("752098100700205"),
        "Canopy",
        Adult(340.0),
    ),
    beast("SOL", 3, "Myrtle", F, Before("2023-12"), ("Birch", "Lichen"), NONE, "Canopy", Adult(336.0)),
    beast("SOL", 3, "Acorn", M, Born(30), ("Birch", "Lichen"), NONE, "Canopy", Young(345.0)),
    beast("SOL", 3, "Catkin", F, Born(30), ("Birch", "Lichen"), NONE, "Canopy", Young(338.0)),
];
