//! What no field should hold.

use holt_proto::v1::Day;
use prost::Message;
use prost_reflect::{DynamicMessage, Kind, MessageDescriptor, Value};
use prost_types::Timestamp;

/// A value to send.
pub(super) struct Poison {
    pub(super) value: Value,
    /// As a person would name it.
    pub(super) told: String,
    /// Whether no field of any request may hold it.
    pub(super) never: bool,
}

/// Days that are past or to come by more than anybody means; that no calendar has.
const DAYS: [(i32, i32, i32); 8] = [
    (1, 1, 1),
    (1700, 5, 1),
    (1800, 1, 1),
    (1900, 1, 1),
    (2100, 1, 1),
    (9999, 12, 31),
    (2026, 13, 1),
    (i32::MAX, i32::MAX, i32::MIN),
];

/// The same as instants: seconds since 1970.
const SECONDS: [i64; 8] = [
    i64::MIN,
    -62_135_596_800,
    -8_520_336_000,
    -5_364_662_400,
    4_102_444_800,
    253_402_300_799,
    253_402_300_800,
    i64::MAX,
];

/// Texts that show other than they are, or that no printer survives.
const HIDDEN: [(&str, &str); 7] = [
    ("a\u{202E}b", "U+202E"),
    ("a\u{200B}b", "U+200B"),
    ("a\u{FEFF}b", "U+FEFF"),
    ("a\u{1B}[31mb", "ESC"),
    ("a\u{0}b", "NUL"),
    ("a\u{7F}b", "DEL"),
    ("a\u{85}b", "U+0085"),
];

/// What to send in a field of a kind.
pub(super) fn poisons(kind: &Kind) -> Vec<Poison> {
    let one = |value: Value, told: String| Poison { value, told, never: false };
    match kind {
        Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => {
            [i64::MIN, i64::MAX, i64::MAX - 1, -1, 1 << 53].map(|n| one(Value::I64(n), n.to_string())).into()
        }
        Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => {
            [i32::MIN, i32::MAX, i32::MAX - 1, -1].map(|n| one(Value::I32(n), n.to_string())).into()
        }
        Kind::Enum(_) => [-1, i32::MAX].map(|n| one(Value::EnumNumber(n), n.to_string())).into(),
        Kind::Double => [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e308, -1e308, 1e-308, -0.0]
            .map(|n| Poison {
                value: Value::F64(n),
                told: n.to_string(),
                never: !n.is_finite() || n.abs() > 1.0,
            })
            .into(),
        Kind::String => {
            let hidden = HIDDEN.map(|(text, told)| Poison {
                value: Value::String(text.to_owned()),
                told: told.to_owned(),
                never: true,
            });
            let long = Value::String("a".repeat(1 << 20));
            let mut all = vec![
                one(Value::String(String::new()), "nothing".to_owned()),
                Poison { value: long, told: "1 MiB".to_owned(), never: true },
                one(Value::String("\u{301}".to_owned()), "a lone accent".to_owned()),
                one(Value::String("e\u{301}".to_owned()), "an accent on its own".to_owned()),
            ];
            all.extend(hidden);
            all
        }
        Kind::Message(message) if message.name() == "Day" => DAYS
            .map(|(year, month, day)| {
                one(whole(message, &Day { year, month, day }), format!("{year}-{month}-{day}"))
            })
            .into(),
        Kind::Message(message) => SECONDS
            .map(|seconds| (seconds, 0))
            .into_iter()
            .chain([(0, -1), (0, i32::MAX)])
            .map(|(seconds, nanos)| {
                one(whole(message, &Timestamp { seconds, nanos }), format!("{seconds} s {nanos} ns"))
            })
            .collect(),
        Kind::Bool => vec![one(Value::Bool(true), "true".to_owned())],
        other => panic!("no request has a field of kind {other:?}"),
    }
}

fn whole(message: &MessageDescriptor, value: &impl Message) -> Value {
    let bytes = value.encode_to_vec();
    Value::Message(DynamicMessage::decode(message.clone(), bytes.as_slice()).unwrap())
}
