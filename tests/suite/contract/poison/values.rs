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
const DAYS: [(i32, i32, i32); 5] =
    [(1799, 12, 31), (1800, 1, 1), (2199, 12, 31), (2026, 13, 1), (i32::MAX, i32::MAX, i32::MIN)];

/// The same as instants: seconds since 1970.
const SECONDS: [i64; 5] = [i64::MIN, -5_364_662_400, 4_102_444_800, 253_402_300_800, i64::MAX];

/// Texts that show other than they are, or that no printer survives.
const HIDDEN: [(&str, &str); 8] = [
    ("a\u{202E}b", "U+202E"),
    ("a\u{200B}b", "U+200B"),
    ("a\u{FEFF}b", "U+FEFF"),
    ("a\u{1B}[31mb", "ESC"),
    ("a\u{0}b", "NUL"),
    ("a\u{7F}b", "DEL"),
    ("a\u{85}b", "U+0085"),
    ("\u{301}", "a lone accent"),
];

/// More than any field takes.
const LONG: usize = 300_000;

/// What to send in the `n`th field of a request, of this kind: of texts that show other than they are, each field gets
/// one, and each field another.
pub(super) fn poisons(kind: &Kind, n: usize) -> Vec<Poison> {
    let one = |value: Value, told: String| Poison { value, told, never: false };
    match kind {
        Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => {
            [i64::MIN, i64::MAX, -1, 1 << 53].map(|n| one(Value::I64(n), n.to_string())).into()
        }
        Kind::Uint64 => [u64::MAX].map(|n| one(Value::U64(n), n.to_string())).into(),
        Kind::Uint32 => [u32::MAX].map(|n| one(Value::U32(n), n.to_string())).into(),
        Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => {
            [i32::MIN, i32::MAX, -1].map(|n| one(Value::I32(n), n.to_string())).into()
        }
        Kind::Enum(_) => [i32::MAX].map(|n| one(Value::EnumNumber(n), n.to_string())).into(),
        Kind::Double => [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e308, -1e308, 1e-308, -0.0]
            .map(|n| Poison {
                value: Value::F64(n),
                told: n.to_string(),
                never: !n.is_finite() || n.abs() > 1.0,
            })
            .into(),
        Kind::String => {
            let text = |text: &str, told: &str, never| Poison {
                value: Value::String(text.to_owned()),
                told: told.to_owned(),
                never,
            };
            let (hidden, point) = HIDDEN[n % HIDDEN.len()];
            vec![
                text("", "nothing", false),
                text(&"a".repeat(LONG), "300,000 letters", true),
                text("e\u{301}", "an accent on its own", false),
                text(hidden, point, true),
            ]
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
