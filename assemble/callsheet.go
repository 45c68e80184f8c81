package assemble

import (
	"context"

	"ripieno/assemble/sheets"
)

// What `callsheet` is asked for and returns.
type (
	CallSheetOptions = sheets.Options
	CallSheetPage    = sheets.Page
	CallSheetResult  = sheets.Result
	SentencesResult  = sheets.Sentences
)

// CallSheets writes the pages that players get; see [sheets.Write].
func CallSheets(ctx context.Context, set Settings, o CallSheetOptions) (CallSheetResult, error) {
	return sheets.Write(ctx, set, o)
}

// CallSheetStrings lists the sentences of the call sheet.
func CallSheetStrings(set Settings, o CallSheetOptions) (SentencesResult, error) {
	return sheets.Strings(set, o)
}
