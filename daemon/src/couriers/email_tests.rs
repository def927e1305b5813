//! The mail account as a site file may describe it, and what a refusal means.

use super::*;
use crate::couriers::runner::tests::quiet_glance;

fn settings() -> Settings {
    Settings {
        name: "e-mail".to_owned(),
        host: "mail.garden.example".to_owned(),
        port: 587,
        protection: Protection::StartTls,
        login: None,
        authority: None,
        from: "house@garden.example".to_owned(),
        to: vec!["grower@garden.example".to_owned()],
    }
}

fn set_up(settings: &Settings) -> Result<Email, Unusable> {
    let (_, seen) = watch::channel(Arc::new(quiet_glance()));
    let write = |_: &Glance| Written {
        subject: String::new(),
        text: String::new(),
        html: String::new(),
        picture: String::new(),
    };
    Email::new(settings, "1".to_owned(), seen, write)
}

#[test]
fn without_tls_mail_stays_on_this_machine() {
    let open = Settings { protection: Protection::None, ..settings() };
    for host in ["mail.garden.example", "192.0.2.7", "localhost.garden.example", "127.0.0.1.garden.example"] {
        let refused = set_up(&Settings { host: host.to_owned(), ..open.clone() });
        assert!(matches!(refused, Err(Unusable::Unprotected(_))), "{host}");
    }
    for host in ["localhost", "127.0.0.1", "127.8.8.8", "::1"] {
        assert!(set_up(&Settings { host: host.to_owned(), ..open.clone() }).is_ok(), "{host}");
    }
}

#[test]
fn what_cannot_work_is_told_before_anything_is_sent() {
    assert!(set_up(&settings()).is_ok());
    assert!(matches!(set_up(&Settings { to: vec![], ..settings() }), Err(Unusable::Nobody)));
    let to = vec!["a@b.example\r\nBcc: c@d.example".to_owned()];
    assert!(matches!(set_up(&Settings { to, ..settings() }), Err(Unusable::Address(..))));
    let from = "the house".to_owned();
    assert!(matches!(set_up(&Settings { from, ..settings() }), Err(Unusable::Address(..))));
    let authority = Some(PathBuf::from("/nowhere/authority.pem"));
    assert!(matches!(set_up(&Settings { authority, ..settings() }), Err(Unusable::Authority(..))));
}

#[test]
fn the_first_digit_of_an_answer_decides_but_for_what_can_be_put_right() {
    // RFC 5321, 4.2.1: 4yz transient, 5yz permanent. RFC 4954, 6: 530, 534, 535. RFC 5321, 4.2.3: 552.
    for code in [421, 450, 451, 452, 454] {
        assert!(matches!(judge(Some(code), String::new()), Delivery::Later { after_ms: None, .. }), "{code}");
    }
    for code in [500, 550, 553, 554] {
        assert!(matches!(judge(Some(code), String::new()), Delivery::Never { .. }), "{code}");
    }
    for code in [530, 534, 535, 538, 552] {
        assert!(
            matches!(judge(Some(code), String::new()), Delivery::Later { after_ms: Some(_), .. }),
            "{code}"
        );
    }
    assert!(matches!(judge(None, String::new()), Delivery::Later { after_ms: None, .. }));
}
