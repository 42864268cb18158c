package store

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// hashing are the parameters of Argon2id.
type hashing struct {
	memory  uint32 // KiB
	passes  uint32
	lanes   uint8
	saltLen int
	keyLen  uint32
}

// usualHashing is the second recommended option of RFC 9106 (Biryukov, Dinu,
// Khovratovich and Josefsson, 2021), section 4: 3 passes, 4 lanes, 64 MiB, a salt
// of 128 bits and a tag of 256. The first takes 2 GiB, which a small board lacks.
var usualHashing = hashing{memory: 64 << 10, passes: 3, lanes: 4, saltLen: 16, keyLen: 32}

// The most that a kept hash may ask for, so that a damaged file cannot take all
// the memory or all the time of the machine.
const (
	mostMemory = 1 << 20 // KiB
	mostPasses = 64
)

// hashPassphrase returns the Argon2id hash of a phrase with its parameters and a
// fresh salt, in the form that the reference implementation prints.
func hashPassphrase(phrase string, h hashing) string {
	salt := make([]byte, h.saltLen)
	rand.Read(salt) // never fails, see crypto/rand
	key := argon2.IDKey([]byte(phrase), salt, h.passes, h.memory, h.lanes, h.keyLen)
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, h.memory, h.passes, h.lanes,
		b64.EncodeToString(salt), b64.EncodeToString(key))
}

// checkPassphrase reports whether a phrase made a hash. It compares in constant
// time. A hash that is none is an error.
func checkPassphrase(phrase, hash string) (bool, error) {
	h, salt, want, err := readHash(hash)
	if err != nil {
		return false, err
	}
	got := argon2.IDKey([]byte(phrase), salt, h.passes, h.memory, h.lanes, h.keyLen)
	return subtle.ConstantTimeCompare(got, want) == 1, nil
}

func readHash(hash string) (h hashing, salt, key []byte, err error) {
	bad := fmt.Errorf("read passphrase hash: not one of Argon2id")
	parts := strings.Split(hash, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return h, nil, nil, bad
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &h.memory, &h.passes, &h.lanes); err != nil {
		return h, nil, nil, bad
	}
	if salt, err = base64.RawStdEncoding.DecodeString(parts[4]); err != nil {
		return h, nil, nil, bad
	}
	if key, err = base64.RawStdEncoding.DecodeString(parts[5]); err != nil {
		return h, nil, nil, bad
	}
	h.saltLen, h.keyLen = len(salt), uint32(len(key))
	if h.memory > mostMemory || h.passes == 0 || h.passes > mostPasses || h.lanes == 0 || len(salt) < 8 || len(key) < 16 {
		return h, nil, nil, bad
	}
	return h, salt, key, nil
}
