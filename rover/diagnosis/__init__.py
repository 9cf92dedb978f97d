"""Why a run went as it did: answers from its record by fixed rules, in sentences, each with its place there."""
