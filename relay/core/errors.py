"""The exceptions of Offing, drawn as a tree.

OffingError                  everything below
├── OperatorError            what a person gave us is wrong: says what, where and what to do
│   ├── ExpeditionError      the expedition file (with the line)
│   ├── ShoreFileError       the shore's file (with the line)
│   ├── SecretsError         the secrets file is missing, changed, unreadable or open to others
│   ├── LockingError         a file can't be encrypted or opened, or a key to do it is none
│   ├── JournalError         the disk doesn't give the journal: full, read-only, failing, or another file
│   ├── CaptureError         a capture given to rehearse cannot be read or timed
│   ├── RefusedError         the running relay doesn't take a message: nothing was journalled
│   ├── RecordingError       a recording is not one, is of another version, or is torn
│   ├── ProofError           a proof is none, or was altered: says where
│   ├── NoRelayError         no relay runs on a private folder, so none can be asked
│   ├── ChartError           a chart for the audit is none, or can't be read or joined with the others
│   ├── InvitationError      a guest, a day or a list of guests is not what it should be, or not the ship's
│   └── SurveyError          a number given to the survey's arithmetic is none, or can't be true
├── LinkError                what the other end of the link said is not what it may say: ends that connection alone
├── ShoreError               the shore doesn't keep what came over the link: says why, and keeps what it had
│   └── NoRoomError          its disk takes no more: nothing is acknowledged, and the link waits
└── OurFault                 a rule of Offing's own would have been broken: always a bug
    ├── OutOfOrderError      a frame was published that does not follow the last one
    ├── OneDoorError         something other than `release` tried to make or send a released record
    └── RegrownError         a release log grown again from the journal differs from what was sent

A peer's bad bytes are never exceptions: decoders return `Rejected` events for them.
"""


class OffingError(Exception):
    """Anything Offing raises on purpose."""


class OperatorError(OffingError):
    """Something a person gave us is wrong; the message says what, where and what to do."""


class ExpeditionError(OperatorError):
    """The expedition file is malformed or cannot keep its word."""


class ShoreFileError(OperatorError):
    """The shore's file is malformed, or nobody could follow or feed such a shore."""


class SecretsError(OperatorError):
    """The secrets file is missing, was changed, or is readable by others."""


class LockingError(OperatorError):
    """A file can't be encrypted or opened: it is damaged, the key is another, or what was given is no key."""


class JournalError(OperatorError):
    """The journal can't be opened on its disk."""


class CaptureError(OperatorError):
    """A capture cannot be read or timed."""


class RefusedError(OperatorError):
    """The running relay doesn't take a message: nothing of it was journalled."""


class RecordingError(OperatorError):
    """A recording is not one, is of an unknown version, or is torn where it must not be."""


class ProofError(OperatorError):
    """A file is no proof as Offing writes it, or was altered."""


class NoRelayError(OperatorError):
    """No relay runs on a private folder, so none can be asked."""


class ChartError(OperatorError):
    """A file is no chart that can be read, or charts don't go together."""


class InvitationError(OperatorError):
    """A guest, the day an invitation ends, or a list of guests is not what it should be, or not the ship's."""


class SurveyError(OperatorError):
    """A value given to the survey's arithmetic is no number, out of its range, or contradicts another."""


class LinkError(OffingError):
    """What the other end of the link said is not what it may say."""


class ShoreError(OffingError):
    """The shore can't keep what came over the link, or may not: nothing of it was published."""


class NoRoomError(ShoreError):
    """The shore's disk takes no more."""


class OurFault(OffingError):
    """A rule of Offing's own would have been broken."""


class OutOfOrderError(OurFault):
    """A frame was published that does not follow the last one of its audience."""


class OneDoorError(OurFault):
    """Only `relay.core.release` may make a released record, and `wire` accepts nothing else."""


class RegrownError(OurFault):
    """The release log grown again from the journal is not the one that was sent."""
