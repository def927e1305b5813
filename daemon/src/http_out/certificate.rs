//! A certificate that the clock speaks against. Each is good from one moment to another (RFC 5280, 4.1.2.5), so a board
//! whose clock is days off refuses everybody, and what is wrong then is mostly its own time: that is said, with both
//! times, instead of what the encryption says of it.

use std::error::Error;
use std::io;

use chrono::DateTime;
use rustls::CertificateError;

/// What to say of an error that goes back to such a certificate; none of any other.
pub(crate) fn untimely(error: &(dyn Error + 'static)) -> Option<String> {
    let mut link = Some(error);
    while let Some(error) = link {
        if let Some(words) = of_rustls(error) {
            return Some(words);
        }
        // An error that was wrapped by the system's gives its own cause as the source, and so leaves itself out.
        let inner = error.downcast_ref::<io::Error>().and_then(io::Error::get_ref);
        link = inner.map_or_else(|| error.source(), |inner| Some(inner));
    }
    None
}

fn of_rustls(error: &(dyn Error + 'static)) -> Option<String> {
    let Some(rustls::Error::InvalidCertificate(why)) = error.downcast_ref::<rustls::Error>() else {
        return None;
    };
    let day = |time: &rustls::pki_types::UnixTime| {
        let at = i64::try_from(time.as_secs()).ok().and_then(|s| DateTime::from_timestamp(s, 0));
        at.map_or_else(|| "a time far off".to_owned(), |at| at.format("%Y-%m-%d %H:%M UTC").to_string())
    };
    Some(match why {
        CertificateError::NotValidYetContext { time, not_before } => format!(
            "the far end's certificate is not yet valid: it is from {}, and the board's own clock says {}; is the board's \
             time right?",
            day(not_before),
            day(time)
        ),
        CertificateError::ExpiredContext { time, not_after } => format!(
            "the far end's certificate has run out: it was good until {}, and the board's own clock says {}; is the \
             board's time right, or was it not renewed?",
            day(not_after),
            day(time)
        ),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use rustls::pki_types::UnixTime;

    use super::*;

    /// 2031-07-02T12:00:00Z.
    const NOON: u64 = 1_940_760_000;

    fn at(seconds: u64) -> UnixTime {
        UnixTime::since_unix_epoch(Duration::from_secs(seconds))
    }

    #[test]
    fn both_times_are_said_however_deep_the_error_lies() {
        let early =
            CertificateError::NotValidYetContext { time: at(NOON - 2 * 86_400), not_before: at(NOON) };
        let late = CertificateError::ExpiredContext { time: at(NOON + 2 * 86_400), not_after: at(NOON) };
        for (why, which, clock) in
            [(early, "not yet valid: it is from", "06-30"), (late, "run out: it was good until", "07-04")]
        {
            let within = io::Error::other(rustls::Error::InvalidCertificate(why));
            let words = untimely(&io::Error::other(within)).unwrap();
            assert!(words.contains(&format!("{which} 2031-07-02 12:00 UTC")), "{words}");
            assert!(words.contains(&format!("says 2031-{clock} 12:00 UTC")), "{words}");
        }
    }

    #[test]
    fn of_other_errors_nothing_is_said() {
        let stranger = rustls::Error::InvalidCertificate(CertificateError::UnknownIssuer);
        assert_eq!(untimely(&io::Error::other(stranger)), None);
        assert_eq!(untimely(&io::Error::other("reset")), None);
    }
}
