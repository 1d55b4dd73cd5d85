//! Cause `firmware-image-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    frame::command::package::FIRMWARE_PORT,
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::FirmwareImageRefused,
    what: "the node has received an image, and refuses it",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let asked =
        story.packages.iter().find(|said| said.is(FIRMWARE_PORT, "DevUpgradeImageReq"))?.line;
    // What comes unasked may be the application's own.
    let mut answers = story
        .packages
        .iter()
        .filter(|said| said.is(FIRMWARE_PORT, "DevUpgradeImageAns") && said.line > asked);
    // The last one counts: another image may have come since.
    let last = answers.next_back()?;
    let why = match last.number("UpImageStatus") {
        1 => "it is corrupt, or its signature fails",
        2 => "it is for another hardware",
        _ => return None,
    };
    let status = last.number("UpImageStatus");
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!("the node refuses the image that it received: {why}", why),
        "check the image: built and signed for this hardware, and sent completely; then send it again",
    );
    finding.add(fact!(
        "{answer}: DevUpgradeImageAns, UpImageStatus {up_image_status}",
        answer = last.cite(story),
        up_image_status = status
    ));
    Some(finding)
}

const PAGE: &str = r"# firmware-image-refused
The node has received a new image, and says that it will not use it.

## What is seen
At the server: the block was sent and taken. At the node: the old firmware
goes on.

## Why it happens
DevUpgradeImageAns has the status 1: the image is corrupt, or its signature
does not fit; or 2: it is for another hardware. The image was signed with
another key, built for another board, or changed on its way.

## How to be sure
The node says so itself; that it refused is certain. Why, only its firmware
knows. Status 0 says that there is no image, and is not a refusal.

## What to do
1. Compare the image's hash before it was cut into fragments with the
   node's, if it states one.
2. Check signing key and hardware version (DevVersionAns).
3. See whether fragments were made by the node's version of that package.

## Example
After 120 fragments probe-25 answers DevUpgradeImageReq with status 1. The
image was signed with the test key.

## Source
TS006-1.0.0, p. 6-12.
";
