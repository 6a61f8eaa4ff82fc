// Package backup writes an installation of one machine into one file and puts it
// back.
//
// The paths of a database and a store enter; an archive, encrypted if a
// recipient is named, leaves, and from an archive the same files, each checked.
// It must not know what the files mean, and the key of the links is not in it:
// whoever gets hold of a backup has no power over anybody's subscription.
package backup
