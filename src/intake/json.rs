//! JSON of which every member may be damaged by itself.
//!
//! A derived reader gives up on the whole line when one member has the wrong type or stands there
//! twice. These read any value in one pass, borrow what they can and leave the judging to
//! whoever knows what the member means.

use std::{borrow::Cow, fmt};

use super::note::Notes;
use serde::de::{Deserialize, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

/// Any JSON value, of which only scalars are kept.
#[derive(Debug, Default)]
pub(super) enum Scalar<'a> {
    /// Not there, or null.
    #[default]
    Absent,
    Bool(bool),
    Unsigned(u64),
    Negative(i64),
    Float(f64),
    Text(Cow<'a, str>),
    List,
    Object,
}

impl Scalar<'_> {
    /// Returns the value's type for a message.
    pub(super) const fn type_name(&self) -> &'static str {
        match self {
            Self::Absent => "nothing",
            Self::Bool(_) => "true or false",
            Self::Unsigned(_) | Self::Negative(_) | Self::Float(_) => "a number",
            Self::Text(_) => "a text",
            Self::List => "a list",
            Self::Object => "an object",
        }
    }
}

struct ScalarVisitor;

impl<'de> Visitor<'de> for ScalarVisitor {
    type Value = Scalar<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("any JSON value")
    }

    fn visit_bool<E>(self, value: bool) -> Result<Self::Value, E> {
        Ok(Scalar::Bool(value))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Self::Value, E> {
        Ok(Scalar::Unsigned(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Self::Value, E> {
        Ok(u64::try_from(value).map_or(Scalar::Negative(value), Scalar::Unsigned))
    }

    fn visit_f64<E>(self, value: f64) -> Result<Self::Value, E> {
        Ok(Scalar::Float(value))
    }

    fn visit_borrowed_str<E>(self, value: &'de str) -> Result<Self::Value, E> {
        Ok(Scalar::Text(Cow::Borrowed(value)))
    }

    fn visit_str<E>(self, value: &str) -> Result<Self::Value, E> {
        Ok(Scalar::Text(Cow::Owned(value.to_owned())))
    }

    fn visit_unit<E>(self) -> Result<Self::Value, E> {
        Ok(Scalar::Absent)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Scalar::List)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(Scalar::Object)
    }
}

impl<'de> Deserialize<'de> for Scalar<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(ScalarVisitor)
    }
}

/// What stood where an object or a list belongs.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub(super) enum Shape {
    /// Nothing, or null.
    #[default]
    Absent,
    /// What belongs there.
    Right,
    /// A value of the type named.
    Wrong(&'static str),
}

/// Makes a struct of members out of a list of them; reads any value, object or not.
///
/// The last of several members of one name counts, as most readers have it, and `repeated` names
/// it. Members that are not listed are passed over.
macro_rules! members {
    ($(#[$meta:meta])* $name:ident<$lt:lifetime> { $($field:ident: $ty:ty = $key:literal,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Default)]
        pub(super) struct $name<$lt> {
            $(pub(super) $field: $ty,)*
            pub(super) shape: crate::intake::json::Shape,
            pub(super) repeated: Option<&'static str>,
            borrows: std::marker::PhantomData<&$lt ()>,
        }

        const _: () = {
            use std::fmt;
            use serde::de::{
                Deserialize, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor,
            };
            use crate::intake::json::Shape;

            #[derive(Clone, Copy)]
            #[expect(non_camel_case_types, reason = "named as the members are")]
            enum Key { $($field,)* __unknown }

            struct KeyVisitor;

            impl Visitor<'_> for KeyVisitor {
                type Value = Key;

                fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                    f.write_str("a member's name")
                }

                fn visit_str<E>(self, name: &str) -> Result<Key, E> {
                    Ok(match name {
                        $($key => Key::$field,)*
                        _ => Key::__unknown,
                    })
                }
            }

            impl<'de> Deserialize<'de> for Key {
                fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                    from.deserialize_identifier(KeyVisitor)
                }
            }

            struct ObjectVisitor;

            impl ObjectVisitor {
                fn wrong<'a>(found: &'static str) -> $name<'a> {
                    $name { shape: Shape::Wrong(found), ..$name::default() }
                }
            }

            impl<'de> Visitor<'de> for ObjectVisitor {
                type Value = $name<'de>;

                fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                    f.write_str("any JSON value")
                }

                fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<$name<'de>, A::Error> {
                    let mut out = $name { shape: Shape::Right, ..$name::default() };
                    let mut seen = 0u32;
                    while let Some(key) = map.next_key::<Key>()? {
                        let bit = 1u32 << (key as u32);
                        match key {
                            $(Key::$field => {
                                if seen & bit != 0 {
                                    out.repeated = Some($key);
                                }
                                out.$field = map.next_value()?;
                            })*
                            Key::__unknown => {
                                map.next_value::<IgnoredAny>()?;
                            }
                        }
                        seen |= bit;
                    }
                    Ok(out)
                }

                fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<$name<'de>, A::Error> {
                    while list.next_element::<IgnoredAny>()?.is_some() {}
                    Ok(Self::wrong("a list"))
                }

                fn visit_unit<E>(self) -> Result<$name<'de>, E> {
                    Ok($name::default())
                }

                fn visit_bool<E>(self, _: bool) -> Result<$name<'de>, E> {
                    Ok(Self::wrong("true or false"))
                }

                fn visit_u64<E>(self, _: u64) -> Result<$name<'de>, E> {
                    Ok(Self::wrong("a number"))
                }

                fn visit_i64<E>(self, _: i64) -> Result<$name<'de>, E> {
                    Ok(Self::wrong("a number"))
                }

                fn visit_f64<E>(self, _: f64) -> Result<$name<'de>, E> {
                    Ok(Self::wrong("a number"))
                }

                fn visit_str<E>(self, _: &str) -> Result<$name<'de>, E> {
                    Ok(Self::wrong("a text"))
                }
            }

            impl<'de> Deserialize<'de> for $name<'de> {
                fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                    from.deserialize_any(ObjectVisitor)
                }
            }
        };
    };
}
pub(super) use members;

/// A list whose elements are turned into what is kept of them as they come.
///
/// A hostile line may hold hundreds of thousands of empty elements: their raw form, many times
/// their length, must never stand in memory all at once.
#[derive(Debug)]
pub(super) struct List<T> {
    pub(super) items: T,
    pub(super) shape: Shape,
}

/// Takes the elements of a [`List`] one by one.
pub(super) trait Gather: Default {
    /// An element as read.
    type Element<'de>: Deserialize<'de>;

    /// Takes the element of that index.
    fn take(&mut self, index: usize, element: Self::Element<'_>);
}

impl<T: Default> Default for List<T> {
    fn default() -> Self {
        Self { items: T::default(), shape: Shape::Absent }
    }
}

struct ListVisitor<T>(T);

impl<T: Gather> ListVisitor<T> {
    fn wrong(self, found: &'static str) -> List<T> {
        List { items: self.0, shape: Shape::Wrong(found) }
    }
}

impl<'de, T: Gather> Visitor<'de> for ListVisitor<T> {
    type Value = List<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("any JSON value")
    }

    fn visit_seq<A: SeqAccess<'de>>(mut self, mut list: A) -> Result<List<T>, A::Error> {
        let mut index = 0;
        while let Some(element) = list.next_element()? {
            self.0.take(index, element);
            index += 1;
        }
        Ok(List { items: self.0, shape: Shape::Right })
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<List<T>, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(self.wrong("an object"))
    }

    fn visit_unit<E>(self) -> Result<List<T>, E> {
        Ok(List::default())
    }

    fn visit_bool<E>(self, _: bool) -> Result<List<T>, E> {
        Ok(self.wrong("true or false"))
    }

    fn visit_u64<E>(self, _: u64) -> Result<List<T>, E> {
        Ok(self.wrong("a number"))
    }

    fn visit_i64<E>(self, _: i64) -> Result<List<T>, E> {
        Ok(self.wrong("a number"))
    }

    fn visit_f64<E>(self, _: f64) -> Result<List<T>, E> {
        Ok(self.wrong("a number"))
    }

    fn visit_str<E>(self, _: &str) -> Result<List<T>, E> {
        Ok(self.wrong("a text"))
    }
}

impl<'de, T: Gather> Deserialize<'de> for List<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(ListVisitor(T::default()))
    }
}

/// What is kept of an object, made as soon as it is read: the raw form is large.
#[derive(Debug)]
pub(super) struct Kept<T> {
    pub(super) value: Option<T>,
    pub(super) notes: Notes,
    pub(super) shape: Shape,
}

impl<T> Default for Kept<T> {
    fn default() -> Self {
        Self { value: None, notes: Notes::default(), shape: Shape::Absent }
    }
}

/// Tells how an object is read, and what is kept of it.
pub(super) trait Keep: Sized {
    /// The object as read.
    type Raw<'de>: Deserialize<'de>;

    /// Makes of it what is kept.
    fn keep(raw: Self::Raw<'_>, notes: &mut Notes) -> (Option<Self>, Shape);
}

impl<'de, T: Keep> Deserialize<'de> for Kept<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let raw = T::Raw::deserialize(deserializer)?;
        let mut notes = Notes::default();
        let (value, shape) = T::keep(raw, &mut notes);
        Ok(Self { value, notes, shape })
    }
}
