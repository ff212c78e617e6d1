//! The way to a server with TLS: certificates of an authority of one's own, and no way around them.

use holt_tests::House;
use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, IsCa, KeyPair};
use std::path::Path;

/// Writes an authority's certificate, and a server's that it vouches for.
fn certificates(folder: &Path) {
    let mut authority = CertificateParams::new(Vec::new()).unwrap();
    authority.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    let authority = CertifiedIssuer::self_signed(authority, KeyPair::generate().unwrap()).unwrap();
    let key = KeyPair::generate().unwrap();
    let server =
        CertificateParams::new(vec!["127.0.0.1".to_owned()]).unwrap().signed_by(&key, &authority).unwrap();
    std::fs::write(folder.join("authority.pem"), authority.pem()).unwrap();
    std::fs::write(folder.join("server.pem"), server.pem()).unwrap();
    std::fs::write(folder.join("server.key"), key.serialize_pem()).unwrap();
}

#[tokio::test]
async fn a_server_is_trusted_if_the_authority_named_vouches_for_it() {
    let folder = tempfile::tempdir().unwrap();
    certificates(folder.path());
    let house = House::with(|config| {
        config.server.tls_certificate = folder.path().join("server.pem");
        config.server.tls_private_key = folder.path().join("server.key");
    })
    .await;
    let authority = folder.path().join("authority.pem");
    let secure = house.address.replace("http://", "https://");
    let desk = house.desk().with("HOLT_SERVER", &secure);
    let sign_in = "holt sign-in nobody --password-stdin --timeout 5";
    let trusted = format!("{sign_in} --ca-file {}", authority.display());
    let ran = desk.pipe(&trusted, b"x\n").await;
    assert_eq!(ran.exit, 5, "{}", ran.err);
    assert!(ran.err.contains("name or the password is wrong"), "{}", ran.err);
    // Neither the authorities of this machine nor another file vouch for it.
    let ran = desk.pipe(sign_in, b"x\n").await;
    assert_eq!(ran.exit, 7, "{}", ran.err);
    desk.file("empty.pem", b"");
    let ran = desk.pipe(&format!("{sign_in} --ca-file ~/empty.pem"), b"x\n").await;
    assert_ne!(ran.exit, 5, "{}", ran.err);
    let from_variable = desk.with("HOLT_CA_FILE", authority.to_str().unwrap());
    assert_eq!(from_variable.pipe(sign_in, b"x\n").await.exit, 5);
    house.close().await;
}
