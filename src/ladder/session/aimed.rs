//! A session whose downlinks are held against the windows that the settings in force open.

use std::ops;

use super::{
    aim::{self, Aim},
    course::Course,
    packages::{self, Said},
    shown::{self, Shown},
};
use crate::ladder::join;

/// A session's course, where its downlinks are aimed, and what the node shows of them.
#[derive(Debug)]
pub(in crate::ladder) struct Aimed<'a> {
    course: Course<'a>,
    /// Whether the node showed that it got each frame, by the frame's place.
    pub(in crate::ladder) shown: Vec<Shown>,
    /// Where each downlink is aimed, in their order.
    pub(in crate::ladder) aims: Vec<Aim>,
    /// What the application packages say, in order.
    pub(in crate::ladder) packages: Vec<Said>,
}

impl<'a> ops::Deref for Aimed<'a> {
    type Target = Course<'a>;

    fn deref(&self) -> &Course<'a> {
        &self.course
    }
}

impl<'a> Aimed<'a> {
    pub(super) fn new(join: &join::Case<'a>, course: Course<'a>) -> Self {
        Self {
            shown: shown::of(&course),
            aims: aim::all(join, &course),
            packages: packages::of(course.session),
            course,
        }
    }
}
