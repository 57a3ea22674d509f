using Microsoft.AspNetCore.OpenApi;
using Microsoft.OpenApi;

namespace TankWatch.Service.Api;

/// <summary>What the OpenAPI document says beyond what the routes say themselves.</summary>
internal static class OpenApiDocument
{
    private const string SchemeName = "apiKey";

    public static void AddOpenApiDocument(this IServiceCollection services) => services.AddOpenApi(o =>
    {
        o.AddDocumentTransformer((document, _, _) =>
        {
            Describe(document);
            return Task.CompletedTask;
        });
    });

    private static void Describe(Microsoft.OpenApi.OpenApiDocument document)
    {
        document.Info = new()
        {
            Title = "TankWatch",
            Version = "1",
            Description = "Water tanks and pumps of buildings: what is known, what is wrong, and what people do about it. "
                + "Times are RFC 3339 in UTC; an unknown quantity is null, never 0; every error is a problem (RFC 9457).",
            License = new() { Name = "MIT", Identifier = "MIT" },
        };
        document.Servers = [new() { Url = "/" }];
        document.Components ??= new();
        document.Components.SecuritySchemes = new Dictionary<string, IOpenApiSecurityScheme>
        {
            [SchemeName] = new OpenApiSecurityScheme
            {
                Type = SecuritySchemeType.Http, Scheme = "bearer", Description = "A key made by 'tankwatch key add'. 'demo' needs none.",
            },
        };
        document.Security = [new() { [new OpenApiSecuritySchemeReference(SchemeName, document)] = [] }];
    }
}
