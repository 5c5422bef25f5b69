//! A request for a time stamp, and the answer to it.

use crate::entry::line::Digest;
use crate::quantity::{WallMicros, hex};
use cms::cert::x509::spki::AlgorithmIdentifierOwned;
use cms::signed_data::SignedData;
use der::asn1::{Int, ObjectIdentifier, OctetString};
use der::{Decode, Encode};
use x509_tsp::{MessageImprint, TimeStampReq, TimeStampResp, TspVersion, TstInfo};

/// SHA-256, by RFC 5754.
pub(super) const SHA_256: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.1");
/// The content of a time stamp, by RFC 3161, 2.4.2.
pub(super) const TST_INFO: ObjectIdentifier =
    ObjectIdentifier::new_unwrap("1.2.840.113549.1.9.16.1.4");

/// Why an answer is not a valid time stamp of a digest.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotAStamp {
    /// It does not have the form of RFC 3161.
    #[error("got bytes that are no answer of RFC 3161 ({0}), want a time stamp in DER")]
    Unreadable(#[from] der::Error),
    /// The authority refused the request.
    #[error("the authority refused: {status}; it says {text:?}")]
    Refused {
        /// Its status.
        status: String,
        /// Its explanation.
        text: String,
    },
    /// The answer is signed but contains no time stamp.
    #[error("got a signed message without a time stamp in it")]
    Empty,
    /// It is a time stamp of another digest.
    #[error("got a time stamp of the digest {got}, want {want}")]
    Other {
        /// The digest in the time stamp.
        got: String,
        /// The digest of the line.
        want: Digest,
    },
    /// It answers another request.
    #[error("got the answer to another request: its nonce is not the one that was sent")]
    Nonce,
}

/// A request for a time stamp of this digest, in DER. A `nonce` ties the answer to the request.
pub(crate) fn request(digest: Digest, nonce: Option<u64>) -> Result<Vec<u8>, der::Error> {
    let algorithm = AlgorithmIdentifierOwned {
        oid: SHA_256,
        parameters: Some(der::Any::null()),
    };
    let request = TimeStampReq {
        version: TspVersion::V1,
        message_imprint: MessageImprint {
            hash_algorithm: algorithm,
            hashed_message: OctetString::new(digest.bytes().as_slice())?,
        },
        req_policy: None,
        nonce: nonce.map(number).transpose()?,
        cert_req: true,
        extensions: None,
    };
    request.to_der()
}

/// An unsigned whole number in DER: as few bytes as possible, where the first bit is the sign.
fn number(number: u64) -> Result<Int, der::Error> {
    let bytes = [&[0], number.to_be_bytes().as_slice()].concat();
    let needed = bytes
        .windows(2)
        .take_while(|two| matches!(two, [0, 0..=127]));
    let leading = needed.count();
    Int::new(bytes.get(leading..).unwrap_or_default())
}

/// An answer with a time stamp. Its signature is checked by [`super::Authority`].
#[derive(Debug)]
pub(crate) struct Answer {
    /// The time in it.
    pub(crate) at: WallMicros,
    pub(super) info: TstInfo,
    /// The signed bytes.
    pub(super) content: Vec<u8>,
    pub(super) signed: SignedData,
}

impl Answer {
    /// Reads an answer.
    pub(crate) fn read(bytes: &[u8]) -> Result<Self, NotAStamp> {
        let answer = TimeStampResp::from_der(bytes)?;
        let status = answer.status;
        // granted, or granted with modifications
        if !matches!(status.status.to_der()?.as_slice(), [2, 1, 0 | 1]) {
            let texts = status.status_string.iter().flatten();
            let texts: Vec<&str> = texts.map(|text| text.as_str()).collect();
            return Err(NotAStamp::Refused {
                status: format!("{:?}", status.status).to_lowercase(),
                text: texts.join(", "),
            });
        }
        let token = answer.time_stamp_token.ok_or(NotAStamp::Empty)?;
        let signed = SignedData::from_der(&token.content.to_der()?)?;
        let content = &signed.encap_content_info;
        let octets = content.econtent.as_ref().ok_or(NotAStamp::Empty)?;
        if content.econtent_type != TST_INFO {
            return Err(NotAStamp::Empty);
        }
        let info = TstInfo::from_der(octets.value())?;
        let seconds = info.gen_time.to_unix_duration().as_micros();
        Ok(Self {
            at: WallMicros(i64::try_from(seconds).unwrap_or(i64::MAX)),
            content: octets.value().to_vec(),
            info,
            signed,
        })
    }

    /// Checks that it is for this digest, and answers the request with this nonce.
    pub(crate) fn is_of(&self, want: Digest, nonce: Option<u64>) -> Result<(), NotAStamp> {
        let imprint = &self.info.message_imprint;
        let got = imprint.hashed_message.as_bytes();
        if imprint.hash_algorithm.oid != SHA_256 || got != want.bytes() {
            let got = hex(got);
            return Err(NotAStamp::Other { got, want });
        }
        let sent = nonce.map(number).transpose()?;
        if sent.is_some() && self.info.nonce != sent {
            return Err(NotAStamp::Nonce);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_nonce_has_no_byte_too_many_and_no_sign() {
        for (nonce, bytes) in [
            (0, &[0][..]),
            (1, &[1]),
            (127, &[127]),
            (128, &[0, 128]),
            (0x7f00, &[0x7f, 0]),
            (u64::MAX, &[0, 255, 255, 255, 255, 255, 255, 255, 255]),
        ] {
            assert_eq!(number(nonce).unwrap().as_bytes(), bytes, "{nonce}");
        }
    }
}
