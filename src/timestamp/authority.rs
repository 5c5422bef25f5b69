//! Checks that an authority vouches for a time stamp: its signature, and its certificate under one that a person
//! trusts.

use super::answer::{Answer, TST_INFO};
use super::store::file;
use crate::durable::Failed;
use cms::cert::CertificateChoices;
use cms::cert::x509::Certificate;
use cms::signed_data::{SignerIdentifier, SignerInfo};
use der::asn1::ObjectIdentifier;
use der::{Decode, Encode};
use rustls_pki_types::pem::PemObject as _;
use rustls_pki_types::{CertificateDer, UnixTime};
use sha2::{Digest as _, Sha256, Sha384, Sha512};
use std::path::{Path, PathBuf};
use std::time::Duration;
use webpki::{ALL_VERIFICATION_ALGS, EndEntityCert, KeyUsage, anchor_from_trusted_cert};

/// The purpose of a certificate for time stamps, by RFC 3161, 2.3: id-kp-timeStamping, as the bytes of its OID.
const TIME_STAMPING: &[u8] = &[0x2b, 0x06, 0x01, 0x05, 0x05, 0x07, 0x03, 0x08];
/// The attributes that a signature covers, by RFC 5652, 11.
const CONTENT_TYPE: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.3");
const MESSAGE_DIGEST: ObjectIdentifier = ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.4");
const SHA_256: &str = "2.16.840.1.101.3.4.2.1";
const SHA_384: &str = "2.16.840.1.101.3.4.2.2";
const SHA_512: &str = "2.16.840.1.101.3.4.2.3";

/// Certificates that a person trusts for time stamps.
#[derive(Debug)]
pub(crate) struct Authority(Vec<CertificateDer<'static>>);

/// Why nobody vouches for a time stamp.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotVouched {
    /// The file of the authority contains no certificate.
    #[error("got no certificate, want one or more in PEM")]
    NoCertificate,
    /// The message does not have the form of CMS.
    #[error("its signed part cannot be read: {0}")]
    Unreadable(#[from] der::Error),
    /// Its digest does not fit its content.
    #[error("what is signed is not what the time stamp says")]
    Content,
    /// No certificate in it fits its signature.
    #[error("no certificate in it fits its signature")]
    Signature,
    /// The certificate does not lead to a trusted one.
    #[error("its certificate is not of the given authority: {0}")]
    Path(webpki::Error),
}

/// Why the certificates of an authority cannot be used.
#[derive(Debug, thiserror::Error)]
pub(crate) enum CertificatesError {
    /// The file cannot be read.
    #[error(transparent)]
    File(#[from] Failed),
    /// It holds something else.
    #[error("{}: {why}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
}

/// What to do about a file that cannot be read.
pub(super) const UNREADABLE: &str = "name a file that is there and may be read";

impl CertificatesError {
    /// What to do.
    pub(crate) const fn remedy(&self) -> &'static str {
        match self {
            Self::File(_) => UNREADABLE,
            Self::Content { .. } => {
                "name the file in which the authority publishes its certificate, in PEM"
            }
        }
    }
}

/// The certificates of an authority in a file.
pub(crate) fn certificates(path: &Path) -> Result<Authority, CertificatesError> {
    Authority::of_pem(&file(path)?).map_err(|error| CertificatesError::Content {
        path: path.to_owned(),
        why: error.to_string(),
    })
}

impl Authority {
    /// The certificates of a PEM file.
    pub(crate) fn of_pem(text: &[u8]) -> Result<Self, NotVouched> {
        let found: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(text).collect();
        let found = found.unwrap_or_default();
        if found.is_empty() {
            return Err(NotVouched::NoCertificate);
        }
        Ok(Self(found))
    }

    /// These certificates together with others.
    pub(crate) fn and(mut self, others: Self) -> Self {
        self.0.extend(others.0);
        self
    }

    /// Checks that the authority, or one that it vouches for, signed this time stamp. The certificate must have been
    /// valid at the time in the time stamp.
    pub(crate) fn vouches_for(&self, answer: &Answer) -> Result<(), NotVouched> {
        let certificates = certificates_in(answer)?;
        // RFC 3161, 2.4.2: there must be no signature except the authority's.
        let [signer] = answer.signed.signer_infos.0.as_slice() else {
            return Err(NotVouched::Signature);
        };
        let message = signed_part(signer, answer)?;
        let anchors: Result<Vec<_>, _> = self.0.iter().map(anchor_from_trusted_cert).collect();
        let anchors = anchors.map_err(NotVouched::Path)?;
        let seconds = u64::try_from(answer.at.0).unwrap_or(0) / 1_000_000;
        let time = UnixTime::since_unix_epoch(Duration::from_secs(seconds));
        // The authority's own certificate need not be in the answer.
        let named = certificates.iter().chain(&self.0);
        for certificate in named.filter(|certificate| is_named(&signer.sid, certificate)) {
            let Ok(certificate) = EndEntityCert::try_from(certificate) else {
                continue;
            };
            let signature = signer.signature.as_bytes();
            let fits = ALL_VERIFICATION_ALGS.iter().any(|algorithm| {
                let verified = certificate.verify_signature(*algorithm, &message, signature);
                verified.is_ok()
            });
            if fits {
                let usage = KeyUsage::required(TIME_STAMPING);
                let path = certificate.verify_for_usage(
                    ALL_VERIFICATION_ALGS,
                    &anchors,
                    &certificates,
                    time,
                    usage,
                    None,
                    None,
                );
                return path.map(|_| ()).map_err(NotVouched::Path);
            }
        }
        Err(NotVouched::Signature)
    }
}

/// Whether a signer names this certificate.
fn is_named(signer: &SignerIdentifier, certificate: &CertificateDer<'_>) -> bool {
    let Ok(certificate) = Certificate::from_der(certificate) else {
        return false;
    };
    let certificate = certificate.tbs_certificate;
    match signer {
        SignerIdentifier::IssuerAndSerialNumber(named) => {
            named.issuer == certificate.issuer && named.serial_number == certificate.serial_number
        }
        // The signature decides.
        SignerIdentifier::SubjectKeyIdentifier(_) => true,
    }
}

/// The certificates that came with an answer.
fn certificates_in(answer: &Answer) -> Result<Vec<CertificateDer<'static>>, NotVouched> {
    let mut found = Vec::new();
    let choices = answer.signed.certificates.iter();
    for choice in choices.flat_map(|set| set.0.iter()) {
        if let CertificateChoices::Certificate(certificate) = choice {
            found.push(CertificateDer::from(certificate.to_der()?));
        }
    }
    Ok(found)
}

/// The bytes under a signature: attributes that hold the digest of the content, by RFC 5652, 5.4.
fn signed_part(signer: &SignerInfo, answer: &Answer) -> Result<Vec<u8>, NotVouched> {
    let content = &answer.content;
    let digest = match signer.digest_alg.oid.to_string().as_str() {
        SHA_256 => Sha256::digest(content).to_vec(),
        SHA_384 => Sha384::digest(content).to_vec(),
        SHA_512 => Sha512::digest(content).to_vec(),
        _ => return Err(NotVouched::Content),
    };
    let attributes = signer.signed_attrs.as_ref().ok_or(NotVouched::Content)?;
    let value = |oid: ObjectIdentifier| {
        let found = attributes.iter().find(|attribute| attribute.oid == oid)?;
        found.values.iter().next()
    };
    let said = value(MESSAGE_DIGEST).ok_or(NotVouched::Content)?;
    let kind = value(CONTENT_TYPE).ok_or(NotVouched::Content)?;
    let kind = ObjectIdentifier::from_der(&kind.to_der()?)?;
    if said.value() != digest || kind != TST_INFO {
        return Err(NotVouched::Content);
    }
    Ok(attributes.to_der()?)
}
