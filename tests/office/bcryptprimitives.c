/* bcryptprimitives.dll, of which programs of Rust need this one function: random bytes. */
#include <windows.h>
#include <ntsecapi.h>

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE bytes, SIZE_T count)
{
	return RtlGenRandom(bytes, (ULONG)count);
}
