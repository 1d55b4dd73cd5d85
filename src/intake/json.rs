//! JSON of which every member may be damaged by itself.
//!
//! A derived reader gives up on the whole line when one member has the wrong type or stands there
//! twice. These read any value in one pass, borrow what they can and leave the judging to
//! whoever knows what the member means.

use std::{borrow::Cow, fmt};

use super::note::Notes;
use serde::de::{DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

/// What JSON is read into, where it stands: the raw forms are large, and to hand them on from
/// reader to reader would cost as much as to read them.
pub(super) trait Fill<'de>: Default {
    /// Reads a value into this one, which is as its default.
    fn fill<D: Deserializer<'de>>(&mut self, from: D) -> Result<(), D::Error>;
}

/// Reads the next value of an object or a list into where it belongs.
pub(super) struct Target<'p, T>(pub(super) &'p mut T);

impl<'de, T: Fill<'de>> DeserializeSeed<'de> for Target<'_, T> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<(), D::Error> {
        self.0.fill(from)
    }
}

/// Reads one JSON text, and nothing behind it.
pub(super) fn read<'de, T: Fill<'de>>(
    text: &'de str,
    out: &mut T,
) -> Result<(), serde_json::Error> {
    let mut reader = serde_json::Deserializer::from_str(text);
    out.fill(&mut reader)?;
    reader.end()
}

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

impl<'de> Fill<'de> for Scalar<'de> {
    fn fill<D: Deserializer<'de>>(&mut self, from: D) -> Result<(), D::Error> {
        *self = from.deserialize_any(ScalarVisitor)?;
        Ok(())
    }
}

impl<'de, T: Fill<'de>> Fill<'de> for Option<Box<T>> {
    fn fill<D: Deserializer<'de>>(&mut self, from: D) -> Result<(), D::Error> {
        self.insert(Box::default()).fill(from)
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

/// The part of a visitor of an object or a list that is no scalar: it has `wrong` for what it meets.
macro_rules! no_scalars {
    () => {
        fn visit_unit<E>(self) -> Result<(), E> {
            Ok(())
        }

        fn visit_bool<E>(self, _: bool) -> Result<(), E> {
            self.wrong("true or false")
        }

        fn visit_u64<E>(self, _: u64) -> Result<(), E> {
            self.wrong("a number")
        }

        fn visit_i64<E>(self, _: i64) -> Result<(), E> {
            self.wrong("a number")
        }

        fn visit_f64<E>(self, _: f64) -> Result<(), E> {
            self.wrong("a number")
        }

        fn visit_str<E>(self, _: &str) -> Result<(), E> {
            self.wrong("a text")
        }
    };
}
pub(super) use no_scalars;

/// Makes a struct of members out of a list of them; reads any value, object or not.
///
/// The last of several members of one name counts, as most readers have it, and `repeated` names
/// it. Members that are not listed are passed over.
macro_rules! members {
    ($(#[$meta:meta])* $name:ident<$lt:lifetime> { $($field:ident: $ty:ty = $key:literal,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Default)]
        pub(in crate::intake) struct $name<$lt> {
            $(pub(in crate::intake) $field: $ty,)*
            pub(in crate::intake) shape: crate::intake::json::Shape,
            pub(in crate::intake) repeated: Option<&'static str>,
            borrows: std::marker::PhantomData<&$lt ()>,
        }

        const _: () = {
            use std::fmt;
            use serde::de::{
                Deserialize, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor,
            };
            use crate::intake::json::{Fill, Target, Shape};

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

            struct ObjectVisitor<'p, $lt>(&'p mut $name<$lt>);

            impl ObjectVisitor<'_, '_> {
                fn wrong<E>(self, found: &'static str) -> Result<(), E> {
                    self.0.shape = Shape::Wrong(found);
                    Ok(())
                }
            }

            impl<'de> Visitor<'de> for ObjectVisitor<'_, 'de> {
                type Value = ();

                fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                    f.write_str("any JSON value")
                }

                fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
                    let out = self.0;
                    out.shape = Shape::Right;
                    let mut seen = 0u32;
                    while let Some(key) = map.next_key::<Key>()? {
                        let bit = 1u32 << (key as u32);
                        match key {
                            $(Key::$field => {
                                if seen & bit != 0 {
                                    out.repeated = Some($key);
                                    out.$field = Default::default();
                                }
                                map.next_value_seed(Target(&mut out.$field))?;
                            })*
                            Key::__unknown => {
                                map.next_value::<IgnoredAny>()?;
                            }
                        }
                        seen |= bit;
                    }
                    Ok(())
                }

                fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
                    while list.next_element::<IgnoredAny>()?.is_some() {}
                    self.wrong("a list")
                }

                crate::intake::json::no_scalars!();
            }

            impl<'de> Fill<'de> for $name<'de> {
                fn fill<D: Deserializer<'de>>(&mut self, from: D) -> Result<(), D::Error> {
                    from.deserialize_any(ObjectVisitor(self))
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
    type Element<'de>: Fill<'de>;

    /// Takes the element of that index.
    fn take(&mut self, index: usize, element: &Self::Element<'_>);
}

impl<T: Default> Default for List<T> {
    fn default() -> Self {
        Self { items: T::default(), shape: Shape::Absent }
    }
}

struct ListVisitor<'p, T>(&'p mut List<T>);

impl<T> ListVisitor<'_, T> {
    #[expect(clippy::unnecessary_wraps, reason = "every visit of another type ends with it")]
    fn wrong<E>(self, found: &'static str) -> Result<(), E> {
        self.0.shape = Shape::Wrong(found);
        Ok(())
    }
}

impl<'de, T: Gather> Visitor<'de> for ListVisitor<'_, T> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("any JSON value")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        self.0.shape = Shape::Right;
        let mut index = 0;
        loop {
            let mut element = T::Element::default();
            if list.next_element_seed(Target(&mut element))?.is_none() {
                return Ok(());
            }
            self.0.items.take(index, &element);
            index += 1;
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        self.wrong("an object")
    }

    no_scalars!();
}

impl<'de, T: Gather> Fill<'de> for List<T> {
    fn fill<D: Deserializer<'de>>(&mut self, from: D) -> Result<(), D::Error> {
        from.deserialize_any(ListVisitor(self))
    }
}

/// What is made of an object as soon as it is read: the raw form is large.
#[derive(Debug)]
pub(super) struct Made<T> {
    pub(super) value: Option<T>,
    pub(super) notes: Notes,
    pub(super) shape: Shape,
}

impl<T> Default for Made<T> {
    fn default() -> Self {
        Self { value: None, notes: Notes::default(), shape: Shape::Absent }
    }
}

/// How an object is read, and what is made of it.
pub(super) trait Make: Sized {
    /// The object as read.
    type Raw<'de>: Fill<'de>;

    /// Makes it.
    fn make(raw: &Self::Raw<'_>, notes: &mut Notes) -> (Option<Self>, Shape);
}

impl<'de, T: Make> Fill<'de> for Made<T> {
    fn fill<D: Deserializer<'de>>(&mut self, from: D) -> Result<(), D::Error> {
        let mut raw = T::Raw::default();
        raw.fill(from)?;
        (self.value, self.shape) = T::make(&raw, &mut self.notes);
        Ok(())
    }
}
