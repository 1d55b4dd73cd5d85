//! The members of a datagram that are objects themselves.

use crate::{
    intake::{
        event::{Crc, Heard, Ordered, Outcome, Stat, TxError, When},
        json::{Gather, Make, Scalar, Shape, members},
        member::Member,
        note::{Notes, Remark, Within},
    },
    radio::Modulation,
};

members! {
    /// An element of `rxpk`.
    Rxpk<'a> {
        data: Scalar<'a> = "data",
        size: Scalar<'a> = "size",
        tmst: Scalar<'a> = "tmst",
        tmms: Scalar<'a> = "tmms",
        time: Scalar<'a> = "time",
        freq: Scalar<'a> = "freq",
        datr: Scalar<'a> = "datr",
        codr: Scalar<'a> = "codr",
        chan: Scalar<'a> = "chan",
        rssi: Scalar<'a> = "rssi",
        lsnr: Scalar<'a> = "lsnr",
        stat: Scalar<'a> = "stat",
    }
}

members! {
    /// `txpk`.
    Txpk<'a> {
        data: Scalar<'a> = "data",
        size: Scalar<'a> = "size",
        imme: Scalar<'a> = "imme",
        tmst: Scalar<'a> = "tmst",
        tmms: Scalar<'a> = "tmms",
        time: Scalar<'a> = "time",
        freq: Scalar<'a> = "freq",
        datr: Scalar<'a> = "datr",
        codr: Scalar<'a> = "codr",
        powe: Scalar<'a> = "powe",
        ipol: Scalar<'a> = "ipol",
        ncrc: Scalar<'a> = "ncrc",
        nhdr: Scalar<'a> = "nhdr",
        prea: Scalar<'a> = "prea",
        rfch: Scalar<'a> = "rfch",
        fdev: Scalar<'a> = "fdev",
    }
}

members! {
    /// `txpk_ack`.
    Ack<'a> {
        error: Scalar<'a> = "error",
        warn: Scalar<'a> = "warn",
        value: Scalar<'a> = "value",
    }
}

members! {
    /// `stat`.
    Report<'a> {
        time: Scalar<'a> = "time",
        rxnb: Scalar<'a> = "rxnb",
        rxok: Scalar<'a> = "rxok",
        rxfw: Scalar<'a> = "rxfw",
        ackr: Scalar<'a> = "ackr",
        dwnb: Scalar<'a> = "dwnb",
        txnb: Scalar<'a> = "txnb",
        temp: Scalar<'a> = "temp",
    }
}

/// What is read of `rxpk`.
#[derive(Debug, Default)]
pub(in crate::intake) struct Receptions {
    pub(in crate::intake) whole: Vec<Heard>,
    pub(in crate::intake) notes: Notes,
}

impl Gather for Receptions {
    type Element<'de> = Rxpk<'de>;

    fn take(&mut self, index: usize, element: &Rxpk<'_>) {
        if let Some(heard) = element.read(index, &mut self.notes) {
            if self.whole.is_empty() {
                // Nearly every datagram has one; a vector that grows by itself begins with four.
                self.whole.reserve_exact(1);
            }
            self.whole.push(heard);
        }
    }
}

impl Rxpk<'_> {
    fn read(&self, index: usize, notes: &mut Notes) -> Option<Heard> {
        let mut say = Member { within: Within::Uplink(index), notes };
        if self.shape != Shape::Right {
            let found = if let Shape::Wrong(found) = self.shape { found } else { "null" };
            say.note("", Remark::WrongType { wanted: "an object", found });
            return None;
        }
        say.repeated(self.repeated);
        let frame = say.frame(&self.data, &self.size)?;
        let crc = match say.integer("stat", &self.stat, "1, 0 or -1", -1..=1) {
            Some(1) => Crc::Ok,
            Some(0) => Crc::None,
            Some(_) => Crc::Bad,
            None => Crc::Unknown,
        };
        Some(Heard {
            frame,
            tmst: say.counter("tmst", &self.tmst),
            tmms: say.milliseconds("tmms", &self.tmms),
            time: say.time("time", &self.time),
            freq_hz: say.hertz("freq", &self.freq),
            modulation: lr_fhss(&self.datr, &self.codr)
                .or_else(|| say.modulation("datr", &self.datr)),
            coding_rate: say.code_rate("codr", &self.codr),
            chan: say.small("chan", &self.chan),
            rssi: say.decimal("rssi", &self.rssi, "a number of dBm"),
            snr: say.decimal("lsnr", &self.lsnr, "a number of dB"),
            crc,
        })
    }
}

/// LR-FHSS says the width of its channel in `datr` and its coding rate in `codr`: `M0CW137` and `1/3`
/// (common practice of forwarders; the protocol's text is older than LR-FHSS).
fn lr_fhss(datr: &Scalar<'_>, codr: &Scalar<'_>) -> Option<Modulation> {
    let (Scalar::Text(datr), Scalar::Text(codr)) = (datr, codr) else { return None };
    let ocw_khz = datr.strip_prefix("M0CW")?.parse().ok()?;
    let cr_thirds = match codr.as_ref() {
        "1/3" => 1,
        "2/3" | "4/6" => 2,
        _ => return None,
    };
    Some(Modulation::LrFhss { cr_thirds, ocw_khz })
}

impl Make for Ordered {
    type Raw<'de> = Txpk<'de>;

    fn make(raw: &Txpk<'_>, notes: &mut Notes) -> (Option<Self>, Shape) {
        let shape = raw.shape;
        (raw.read(notes), shape)
    }
}

impl Txpk<'_> {
    fn read(&self, notes: &mut Notes) -> Option<Ordered> {
        if self.shape != Shape::Right {
            return None;
        }
        let mut say = Member { within: Within::Downlink, notes };
        say.repeated(self.repeated);
        let frame = say.frame(&self.data, &self.size)?;
        let at_once = say.flag("imme", &self.imme) == Some(true);
        let counter = say.counter("tmst", &self.tmst);
        let gps = say.milliseconds("tmms", &self.tmms);
        let when = match (at_once, counter, gps) {
            (true, ..) => When::Immediate,
            (false, Some(counter), _) => When::Counter(counter),
            (false, None, Some(gps)) => When::Gps(gps),
            (false, None, None) => When::Unsaid,
        };
        let wanted = "hertz, 0 to 4294967295";
        Some(Ordered {
            when,
            time: say.time("time", &self.time),
            freq_hz: say.hertz("freq", &self.freq),
            modulation: say.modulation("datr", &self.datr),
            coding_rate: say.code_rate("codr", &self.codr),
            power_dbm: say.decimal("powe", &self.powe, "a number of dBm"),
            inverted: say.flag("ipol", &self.ipol),
            no_crc: say.flag("ncrc", &self.ncrc),
            no_header: say.flag("nhdr", &self.nhdr),
            preamble: say.small("prea", &self.prea),
            rf_chain: say.small("rfch", &self.rfch),
            deviation_hz: say
                .integer("fdev", &self.fdev, wanted, 0..=i64::from(u32::MAX))
                .and_then(|hz| hz.try_into().ok()),
            ..Ordered::of(frame)
        })
    }
}

impl Make for Outcome {
    type Raw<'de> = Ack<'de>;

    fn make(raw: &Ack<'_>, notes: &mut Notes) -> (Option<Self>, Shape) {
        let shape = raw.shape;
        (raw.read(notes), shape)
    }
}

impl Ack<'_> {
    fn read(&self, notes: &mut Notes) -> Option<Outcome> {
        if self.shape != Shape::Right {
            return None;
        }
        let mut say = Member { within: Within::Ack, notes };
        say.repeated(self.repeated);
        let wanted = "a word such as \"TOO_LATE\"";
        // An error that cannot be read is no success.
        if !matches!(self.error, Scalar::Absent | Scalar::Text(_)) {
            say.wrong("error", &self.error, wanted);
            return None;
        }
        let error = say.text("error", &self.error, wanted).map_or(TxError::None, TxError::by_name);
        let warn = say.text("warn", &self.warn, wanted).map(TxError::by_name);
        let value = say.decimal("value", &self.value, "a number");
        let warn = warn.filter(|warn| *warn != TxError::None);
        Some(Outcome { error, warn, value, ..Outcome::default() })
    }
}

impl Make for Stat {
    type Raw<'de> = Report<'de>;

    fn make(raw: &Report<'_>, notes: &mut Notes) -> (Option<Self>, Shape) {
        let shape = raw.shape;
        (raw.read(notes), shape)
    }
}

impl Report<'_> {
    fn read(&self, notes: &mut Notes) -> Option<Stat> {
        if self.shape != Shape::Right {
            return None;
        }
        let mut say = Member { within: Within::Stat, notes };
        say.repeated(self.repeated);
        Some(Stat {
            time: say.time("time", &self.time),
            rxnb: say.count("rxnb", &self.rxnb),
            rxok: say.count("rxok", &self.rxok),
            rxfw: say.count("rxfw", &self.rxfw),
            ackr: say.decimal("ackr", &self.ackr, "a number of per cent"),
            dwnb: say.count("dwnb", &self.dwnb),
            txnb: say.count("txnb", &self.txnb),
            temp: say.decimal("temp", &self.temp, "a number of degrees Celsius"),
        })
    }
}
